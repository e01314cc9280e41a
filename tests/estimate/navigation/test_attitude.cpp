// Attitude as the navigation computes it, against tests/reference/numerics/: sixdof.json (H. Goldstein, C. Poole, J.
// Safko, "Classical Mechanics", 3rd ed. 2002, section 5.6; L. D. Landau, E. M. Lifshitz, "Mechanics", 3rd ed., par.
// 36-37; SciPy solve_ivp at 1e-12) and attitude.json (G. Wahba, SIAM Review 7(3), 1965; H. D. Black, AIAA Journal 2(7),
// 1964: attitude from two vectors). The filter is given what ideal gyros would send, the mean rate of each sample;
// nothing of the simulator is used.
#include <catch2/catch.hpp>

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "server/estimate/navigation/alignment/pad_alignment.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "shared/time.hpp"
#include "tests/support/attitude.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Quaterniond;
using Eigen::Vector3d;

namespace {

const nlohmann::json& cases_of(const std::string& name) {
    return read_reference("numerics/" + name).at("cases");
}

/// Angle of the rotation between two attitudes, rad.
double between(const Quaterniond& a, const Quaterniond& b) {
    return rotation_vector_from_quaternion(a.conjugate() * b).norm();
}

using RateLaw = std::function<Vector3d(double t_s)>;

/// Propagates the filter with the mean of `rate` over each sample (Simpson's rule: exact to the fourth order).
Quaterniond propagated(const Quaterniond& q0, const RateLaw& rate, double to_s, double dt_s) {
    Eskf filter({0, 0, 0, 0});
    EskfNominal start;
    start.q_local_body = q0;
    filter.reset(start, 1e-6 * Eskf::Covariance::Identity());
    const auto steps = std::lround(to_s / dt_s);
    for (long k = 0; k < steps; ++k) {
        const double t_s = static_cast<double>(k) * dt_s;
        const Vector3d mean = (rate(t_s) + 4 * rate(t_s + 0.5 * dt_s) + rate(t_s + dt_s)) / 6;
        filter.predict(Vector3d::Zero(), mean, dt_s);
    }
    return filter.nominal().q_local_body;
}

/// Rate of a free or torqued body by Euler's equations from `w0`, tabulated each half millisecond: RK4, checked against
/// the file's rates.
RateLaw spinning(const Vector3d& inertia, const Vector3d& torque, const Vector3d& w0, double to_s) {
    constexpr double h_s = 0.0005;
    const auto slope = [=](const Vector3d& w) -> Vector3d {
        return (torque - w.cross(inertia.cwiseProduct(w))).cwiseQuotient(inertia);
    };
    auto table = std::make_shared<std::vector<Vector3d>>();
    Vector3d w = w0;
    for (double t_s = 0; t_s < to_s + 0.1; t_s += h_s) {
        table->push_back(w);
        const Vector3d k1 = slope(w), k2 = slope(w + 0.5 * h_s * k1), k3 = slope(w + 0.5 * h_s * k2),
                       k4 = slope(w + h_s * k3);
        w += h_s / 6 * (k1 + 2 * k2 + 2 * k3 + k4);
    }
    return [table](double t_s) { return table->at(static_cast<std::size_t>(std::lround(t_s / h_s))); };
}

/// What two samplings of the same motion are off by: the last error must be small, and fall as fast as the method says.
void check_converges(const RateLaw& rate, const Quaterniond& q0, double to_s, const Quaterniond& truth,
                     double limit_200hz_rad) {
    const double slow = between(propagated(q0, rate, to_s, 0.005), truth);
    const double fast = between(propagated(q0, rate, to_s, 0.001), truth);
    CAPTURE(to_s, slow, fast);
    CHECK(slow < limit_200hz_rad);
    // Previous-sample coning correction: what is left falls with the third power of the interval at least (a factor of
    // 125), down to the reference's own error.
    CHECK(fast < slow / 60 + 2e-9);
}

} // namespace

TEST_CASE("attitude from ideal gyros follows given rates, free bodies, a torqued body and a spin-up") {
#ifdef TURNSTONE_INSTRUMENTED // a minute for all of them
    constexpr int kEnough = 10;
#else
    constexpr int kEnough = 80;
#endif
    int ran = 0;
    for (const auto& c : cases_of("sixdof.json")) {
        if (kEnough < 80 && ran >= kEnough) break;
        const std::string kind = c.at("kind");
        const auto& in = c.at("inputs");
        INFO(c.at("id"));
        if (kind == "quaternion_kinematics") {
            const RateLaw rate = [](double t_s) { // as the file writes it
                return Vector3d(6 + 2 * std::sin(1.5 * t_s), 0.8 * std::cos(3 * t_s),
                                -0.5 + 0.6 * std::sin(2 * t_s + 0.4));
            };
            for (std::size_t k = 1; k < in.at("t_s").size(); ++k) {
                check_converges(rate, quaternion_of(in.at("q0_wxyz")), in.at("t_s").at(k),
                                quaternion_of(c.at("expected").at("q_wxyz").at(k)), 1e-4);
                ++ran;
            }
        } else if (kind == "torque_free_axisymmetric" || kind == "torque_free_asymmetric" ||
                   kind == "spinning_with_body_torque") {
            const auto& rows = c.at("expected").at("rows");
            const double end_s = rows.back().at(0);
            const Vector3d torque =
                in.contains("torque_body_Nm") ? vector_of(in.at("torque_body_Nm")) : Vector3d(0, 0, 0);
            const RateLaw rate =
                spinning(vector_of(in.at("inertia_principal_kg_m2")), torque, vector_of(in.at("w0_body_rad_s")), end_s);
            for (std::size_t k = 1; k < rows.size(); ++k) {
                const double t_s = rows.at(k).at(0);
                REQUIRE((rate(t_s) - vector_of(rows.at(k), 5)).norm() < 1e-7);
                check_converges(rate, quaternion_of(in.at("q0_wxyz")), t_s, quaternion_of(rows.at(k), 1), 3e-4);
                ++ran;
            }
        } else if (kind == "roll_closed_form") {
            const double damping = in.at("Lp_1_s"),
                         drive = in.at("Ld_1_s2").get<double>() * in.at("delta_rad").get<double>();
            const double p0 = in.at("p0_rad_s"), steady = -drive / damping;
            const RateLaw rate = [=](double t_s) {
                return Vector3d(steady + (p0 - steady) * std::exp(damping * t_s), 0, 0);
            };
            for (std::size_t k = 1; k < in.at("t_s").size(); ++k) {
                const double angle = c.at("expected").at("roll_angle_rad").at(k);
                // About one axis there is no coning: exact but for the rule that averages.
                CHECK(between(propagated(Quaterniond::Identity(), rate, in.at("t_s").at(k), 0.005),
                              quaternion_from_rotation_vector({angle, 0, 0})) < 1e-8);
                ++ran;
            }
        } else if (kind == "pitch_oscillation_closed_form") {
            for (std::size_t k = 1; k < in.at("t_s").size(); ++k) {
                // theta'' + 2 zeta w theta' + w^2 theta = 0, from rest at angle0: its rate is what a gyro sees.
                const double w = c.at("expected").at("natural_frequency_rad_s"),
                             zeta = c.at("expected").at("damping_ratio");
                const double wd = w * std::sqrt(1 - zeta * zeta), a0 = in.at("angle0_rad");
                const RateLaw rate = [=](double t_s) {
                    return Vector3d(0, -a0 * w * w / wd * std::exp(-zeta * w * t_s) * std::sin(wd * t_s), 0);
                };
                const double angle = c.at("expected").at("angle_rad").at(k);
                CHECK(between(propagated(quaternion_from_rotation_vector({0, a0, 0}), rate, in.at("t_s").at(k), 0.005),
                              quaternion_from_rotation_vector({0, angle, 0})) < 1e-8);
                ++ran;
            }
        }
    }
    CHECK(ran >= kEnough);
}

TEST_CASE("a rolling body that turns about the vertical is followed") {
    int ran = 0;
    for (const auto& c : cases_of("attitude.json")) {
        if (c.at("kind") != "analytic_motion") continue;
        const double about_up = c.at("inputs").at("local_z_rate_rad_s"),
                     about_x = c.at("inputs").at("body_x_rate_rad_s");
        const Quaterniond q0 = quaternion_of(c.at("inputs").at("q0_wxyz"));
        const auto attitude = [&](double t_s) {
            return quaternion_from_rotation_vector({0, 0, about_up * t_s}) * q0 *
                   quaternion_from_rotation_vector({about_x * t_s, 0, 0});
        };
        const RateLaw rate = [&](double t_s) -> Vector3d {
            return attitude(t_s).conjugate() * Vector3d(0, 0, about_up) + Vector3d(about_x, 0, 0);
        };
        for (const auto& row : c.at("expected").at("rows")) {
            const double t_s = row.at("t_s");
            const Quaterniond truth = quaternion_of(row.at("q_wxyz"));
            CHECK(between(attitude(t_s), truth) < 1e-11);
            CHECK((rate(t_s) - vector_of(row.at("body_rate_rad_s"))).norm() < 1e-11);
            if (t_s > 0) check_converges(rate, q0, t_s, truth, 1e-5);
            ++ran;
        }
    }
    CHECK(ran >= 5);
}

TEST_CASE("products of the units are Hamilton's, and a nose straight up or down is an attitude like any other") {
    int ran = 0;
    const std::map<char, Quaterniond> units{{'i', {0, 1, 0, 0}}, {'j', {0, 0, 1, 0}}, {'k', {0, 0, 0, 1}}};
    for (const auto& c : cases_of("attitude.json")) {
        INFO(c.at("id"));
        if (c.at("kind") == "composition_units") {
            for (const auto& [name, product] : c.at("expected").items()) {
                CHECK((units.at(name.front()) * units.at(name.back())).coeffs() == quaternion_of(product).coeffs());
                ++ran;
            }
        } else if (c.at("kind") == "conversion_singular") {
            const Quaterniond q = quaternion_of(c.at("expected").at("q_wxyz"));
            const auto& rows = c.at("expected").at("dcm_body_to_local");
            for (std::size_t row = 0; row < 3; ++row) {
                CHECK((q.toRotationMatrix().row(static_cast<int>(row)).transpose() - vector_of(rows.at(row))).norm() <
                      1e-12);
            }
            // Where Euler angles break down the filter does not: a turn about the vertical is a turn about the
            // vertical.
            const Quaterniond turned = propagated(
                q, [](double) { return Vector3d(0.3, 0, 0); }, 10.0, 0.005);
            CHECK(between(turned, q * quaternion_from_rotation_vector({3.0, 0, 0})) < 1e-11);
            CHECK((turned * Vector3d::UnitX() - q * Vector3d::UnitX()).norm() < 1e-11);
            ran += 10;
        }
    }
    CHECK(ran >= 25);
}

TEST_CASE("alignment at rest with a magnetometer is the attitude from two vectors") {
    int exact = 0, noisy = 0, refused = 0;
    for (const auto& c : cases_of("attitude.json")) {
        const std::string kind = c.at("kind");
        if (kind != "triad" && kind != "triad_degenerate") continue;
        INFO(c.at("id"));
        const auto& in = c.at("inputs");
        const Vector3d field_local = vector_of(in.at("secondary_local"));
        Site site{};
        site.declination_deg =
            std::atan2(field_local.x(), field_local.y()) * 180 / M_PI; // where a compass points, east of north
        PadAlignment alignment(SensorNoise{}, site, kGravityStandard_mps2);
        for (int k = 0; k < 400; ++k) {
            const std::int64_t t_ns = kNsPerS + k * 10 * kNsPerMs;
            alignment.imu({t_ns, kGravityStandard_mps2 * vector_of(in.at("primary_body")), Vector3d::Zero()});
            alignment.mag({t_ns, 50 * vector_of(in.at("secondary_body"))});
        }
        std::vector<Alignment> found;
        alignment.hypotheses(found);
        REQUIRE_FALSE(found.empty());
        for (const Alignment& one : found) REQUIRE(one.nominal.q_local_body.coeffs().allFinite());
        if (kind == "triad_degenerate") {
            CHECK(found.size() == PadAlignment::kHypotheses); // any heading: as without a magnetometer
            ++refused;
            continue;
        }
        // The field weighs the headings; the likeliest is its own.
        REQUIRE(found.size() == PadAlignment::kHypotheses);
        CHECK(between(found[0].nominal.q_local_body, quaternion_of(c.at("expected").at("q_wxyz"))) < 1e-9);
        ++(c.at("id").get<std::string>().find("exact") != std::string::npos ? exact : noisy);
    }
    CHECK(exact == 4);
    CHECK(noisy == 4);
    CHECK(refused == 1);
}

// A rail that is set to a lean and an azimuth is off along the lean by the first's error, and sideways by the sine of
// the lean times the second's. An accelerometer that says nothing leaves it at that.
TEST_CASE("a nose on the rail is as unsure along its lean as the lean is, and sideways as the azimuth") {
    constexpr double kLean_rad = 0.01, kAzimuth_rad = 0.2;
    SensorNoise sensors{};
    sensors.accel_bias_mps2 = 100;
    FlightScatter scatter{};
    scatter.rail_tilt_rad = kLean_rad;
    scatter.rail_azimuth_rad = kAzimuth_rad;
    for (const double lean_deg : {1.0, 5.0, 20.0})
        for (const double azimuth_deg : {0.0, 70.0, 200.0}) {
            CAPTURE(lean_deg, azimuth_deg);
            Site site{};
            site.launch_tilt_deg = lean_deg;
            site.launch_azimuth_deg = azimuth_deg;
            PadAlignment alignment(sensors, site, kGravityStandard_mps2, scatter);
            const double lean_rad = lean_deg * M_PI / 180, azimuth_rad = azimuth_deg * M_PI / 180;
            const Vector3d forward(std::sin(azimuth_rad), std::cos(azimuth_rad), 0);
            const Vector3d sideways(std::cos(azimuth_rad), -std::sin(azimuth_rad), 0);
            for (int k = 0; k < 400; ++k)
                alignment.imu({kNsPerS + k * 10 * kNsPerMs, {kGravityStandard_mps2, 0, 0}, Vector3d::Zero()});
            std::vector<Alignment> found;
            alignment.hypotheses(found);
            REQUIRE(found.size() == PadAlignment::kHypotheses);
            for (const Alignment& one : found) {
                const Eigen::Matrix3d rotation = one.nominal.q_local_body.toRotationMatrix();
                const Eigen::Matrix3d turn =
                    rotation * one.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) * rotation.transpose();
                // A turn dtheta moves the nose by dtheta x nose.
                const Vector3d nose = rotation.col(0);
                const auto sigma_towards = [&](const Vector3d& to) {
                    const Vector3d about = nose.cross(to);
                    return std::sqrt(about.dot(turn * about));
                };
                CHECK(sigma_towards(forward - forward.dot(nose) * nose) ==
                      Approx(kLean_rad * std::cos(lean_rad)).epsilon(0.02));
                CHECK(sigma_towards(sideways) == Approx(std::sin(lean_rad) * kAzimuth_rad).epsilon(0.02));
            }
        }
}

TEST_CASE("a magnetometer that sends nothing but zeros gives no heading") {
    const Site site{};
    PadAlignment alignment(SensorNoise{}, site, kGravityStandard_mps2);
    for (int k = 0; k < 400; ++k) {
        const std::int64_t t_ns = kNsPerS + k * 10 * kNsPerMs;
        alignment.imu({t_ns, {kGravityStandard_mps2, 0, 0}, Vector3d::Zero()});
        alignment.mag({t_ns, Vector3d::Zero()});
    }
    std::vector<Alignment> found;
    alignment.hypotheses(found);
    CHECK(found.size() == PadAlignment::kHypotheses);
}

TEST_CASE("tilt and the azimuth the nose leans to are the reference's") {
    int ran = 0;
    for (const auto& c : cases_of("attitude.json")) {
        if (c.at("kind") != "tilt") continue;
        INFO(c.at("id"));
        const auto& expected = c.at("expected");
        // At rest with a magnetometer on the pad the navigation's own outputs can be asked for any pose.
        const Quaterniond q = quaternion_of(c.at("inputs").at("q_wxyz"));
        const Site site{};
        Navigation navigation(SensorNoise{}, site);
        for (int k = 0; k < 600; ++k) {
            const std::int64_t t_ns = kNsPerS + k * 5 * kNsPerMs;
            navigation.imu({t_ns, q.conjugate() * Vector3d(0, 0, 9.80665), Vector3d::Zero()});
            navigation.mag({t_ns, q.conjugate() * Vector3d(0, 25, -40)});
        }
        const NavigationEstimate e = navigation.estimate();
        CHECK(between(e.q_local_body, q) < 1e-6);
        CHECK(e.tilt_rad * 180 / M_PI == Approx(expected.at("tilt_from_vertical_deg").get<double>()).margin(1e-4));
        if (!expected.at("nose_azimuth_deg_clockwise_from_north").is_null()) {
            const double azimuth = expected.at("nose_azimuth_deg_clockwise_from_north");
            CHECK(std::remainder(e.tilt_heading_rad * 180 / M_PI - azimuth, 360.0) == Approx(0).margin(1e-4));
        }
        ++ran;
    }
    CHECK(ran == 6);
}
