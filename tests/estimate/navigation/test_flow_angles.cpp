// Flow angles against their definitions by trigonometry and their sigmas against drawn errors.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "server/estimate/navigation/flow_angles.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

TEST_CASE("the flow's angles are those of a nose turned out of it by known angles") {
    struct Case {
        double attack_deg, sideslip_deg;
    };
    for (const Case& c : {Case{0, 0}, Case{5, 0}, Case{-12, 0}, Case{0, 7}, Case{10, -20}, Case{120, 0}}) {
        CAPTURE(c.attack_deg, c.sideslip_deg);
        const double a = c.attack_deg * M_PI / 180, b = c.sideslip_deg * M_PI / 180;
        const Vector3d body(std::cos(a) * std::cos(b), std::sin(b), std::sin(a) * std::cos(b));
        const Eigen::Quaterniond q = quaternion_from_rotation_vector({0.3, -1.2, 0.8});
        const FlowAngles flow = flow_angles(q, Eskf::Covariance::Zero(), q * (100 * body), 0, 1.2);
        CHECK(flow.angle_of_attack_rad == Approx(a).margin(1e-12));
        CHECK(flow.sideslip_rad == Approx(b).margin(1e-12));
        CHECK(flow.total_rad == Approx(std::acos(std::cos(a) * std::cos(b))).margin(1e-7));
        CHECK(flow.dynamic_pressure_pa == Approx(6000));
        CHECK(flow.load_pa_rad == Approx(6000 * flow.total_rad).margin(1e-9));
    }
    CHECK(
        std::isnan(flow_angles(Eigen::Quaterniond::Identity(), Eskf::Covariance::Zero(), {3, 0, 0}, 0, 1.2).total_rad));
}

TEST_CASE("the sigmas of the flow's angles are the spread that errors of velocity, attitude and wind make") {
    std::mt19937 random(5);
    std::normal_distribution<double> normal(0, 1);
    const auto draw = [&] { return Vector3d(normal(random), normal(random), normal(random)); };
    const Eigen::Quaterniond q = quaternion_from_rotation_vector({0.2, -1.3, 0.4});
    const Vector3d velocity = q * Vector3d(90, 6, 9);
    const Vector3d velocity_sigma(0.4, 0.6, 0.8), attitude_sigma(0.05, 0.01, 0.015);
    const double wind_sigma = 1.0;
    Eskf::Covariance p = Eskf::Covariance::Zero();
    p.diagonal().segment<3>(Eskf::kVelocity) = velocity_sigma.cwiseAbs2();
    p.diagonal().segment<3>(Eskf::kAttitude) = attitude_sigma.cwiseAbs2();
    const FlowAngles stated = flow_angles(q, p, velocity, wind_sigma, 1.2);
    double attack2 = 0, sideslip2 = 0, total2 = 0, load2 = 0;
    constexpr int kDraws = 20000;
    for (int k = 0; k < kDraws; ++k) {
        const Vector3d wind(wind_sigma * normal(random), wind_sigma * normal(random), 0);
        const Vector3d air = velocity + velocity_sigma.cwiseProduct(draw()) - wind;
        const Eigen::Quaterniond turned = q * quaternion_from_rotation_vector(attitude_sigma.cwiseProduct(draw()));
        const FlowAngles one = flow_angles(turned, p, air, wind_sigma, 1.2);
        attack2 += std::pow(one.angle_of_attack_rad - stated.angle_of_attack_rad, 2) / kDraws;
        sideslip2 += std::pow(one.sideslip_rad - stated.sideslip_rad, 2) / kDraws;
        total2 += std::pow(one.total_rad - stated.total_rad, 2) / kDraws;
        load2 += std::pow(one.load_pa_rad - stated.load_pa_rad, 2) / kDraws;
    }
    // A spread of 20 000 draws is known to half a per cent; curvature of the angles adds a little.
    CHECK(std::sqrt(attack2) == Approx(stated.angle_of_attack_sigma_rad).epsilon(0.04));
    CHECK(std::sqrt(sideslip2) == Approx(stated.sideslip_sigma_rad).epsilon(0.04));
    CHECK(std::sqrt(total2) == Approx(stated.total_sigma_rad).epsilon(0.06));
    CHECK(std::sqrt(load2) == Approx(stated.load_sigma_pa_rad).epsilon(0.06));
}
