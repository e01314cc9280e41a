// The backward pass of the attitude filter: where nothing turns against the plain one (rts.hpp, which test_rts.cpp
// holds against outside references), and on the three flights of tests/reference/numerics/eskf.json against their
// truth.
#include <catch2/catch.hpp>

#include <cmath>
#include <map>
#include <memory>
#include <random>
#include <vector>

#include <Eigen/Dense>
#include <Eigen/Eigenvalues>

#include "server/estimate/navigation/backward/attitude_pass.hpp"
#include "server/estimate/smoothing/rts.hpp"
#include "tests/estimate/smoothing/recorded.hpp"
#include "tests/support/attitude.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Vector3d;

namespace {

const auto kGoesOn = [](double) { return true; };

double farthest(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b) {
    return ((a - b).array().abs() / (1 + b.array().abs())).maxCoeff();
}

} // namespace

TEST_CASE("what a filter carries of an error is what its covariance followed") {
    std::mt19937 random(5);
    std::normal_distribution<double> normal(0, 1);
    const Eskf::Covariance root = Eskf::Covariance::NullaryExpr([&] { return normal(random); });
    const Eskf::Covariance start = root * root.transpose();
    Recorded one({0, 0, 0, 0}, {}, start); // no noise: P = F P F'
    for (int k = 0; k < 50; ++k)
        one.filter.predict({30 + normal(random), normal(random), normal(random)}, {5, normal(random), normal(random)},
                           0.005);
    one.filter.settle();
    one.filter.wander_fix_bias(0.7, Vector3d::Zero());
    for (int k = 0; k < 20; ++k) one.filter.predict({9, 1, -2}, {-3, 1, 0.5}, 0.005);
    one.filter.settle();
    const Eskf::Covariance carried = *one.filter.carried();
    CHECK(farthest(carried * start * carried.transpose(), one.filter.covariance()) < 1e-9);
    // A state begun again has nothing of before.
    one.filter.forget(Eskf::kGyroBias, 2);
    one.filter.reset_attitude(Eigen::Quaterniond::Identity(), {1, 2, 3});
    one.filter.predict({9, 1, -2}, {-3, 1, 0.5}, 0.02);
    one.filter.settle();
    const Eskf::Covariance after = *one.filter.carried() * start * one.filter.carried()->transpose();
    CHECK(after.middleRows<3>(Eskf::kAttitude).isZero() == false); // by the other gyro biases
    CHECK(after.row(Eskf::kGyroBias).isZero());
    CHECK(one.filter.covariance()(Eskf::kGyroBias, Eskf::kGyroBias) == Approx(4));
}

TEST_CASE(
    "where nothing turns and nothing is only considered, attitudes are smoothed as the plain backward pass smooths") {
    std::mt19937 random(8);
    std::normal_distribution<double> normal(0, 1);
    Eskf::ErrorVector sd = Eskf::ErrorVector::Constant(0.3);
    sd.segment<3>(Eskf::kAttitude).setZero(); // known exactly: the filter is linear
    sd.segment<3>(Eskf::kGyroBias).setZero();
    sd.segment<3>(Eskf::kGyroScale).setZero();
    sd.segment<3>(Eskf::kAccelScale).setZero();
    Recorded one({0.2, 0, 0.01, 0}, {}, sd.cwiseAbs2().asDiagonal());
    for (int k = 1; k <= 60; ++k) {
        for (int i = 0; i < 7; ++i)
            one.filter.predict({20 + normal(random), normal(random), normal(random)}, Vector3d::Zero(), 0.01);
        one.filter.wander_fix_bias(0.98, Vector3d::Constant(0.04));
        one.filter.wander_height_error(0.99, 0.9);
        if (k % 11 == 0) one.filter.inflate(Eskf::kVelocity, 0.5);
        if (k == 30) one.filter.forget(Eskf::kDatum, 0.4);
        one.t_ns = k;
        Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
        h.leftCols<6>().setIdentity();
        h.block<3, 3>(0, Eskf::kFixBias).setIdentity();
        h(2, Eskf::kDatum) = 1;
        Eigen::Matrix<double, 6, 1> innovation;
        for (int i = 0; i < 6; ++i) innovation(i) = normal(random);
        one.correct<6>(innovation, h, Eigen::Matrix<double, 6, 6>(Eigen::Matrix<double, 6, 6>::Identity()));
    }
    std::vector<ForwardStep<Eskf::kSize>> plain;
    const EskfNominal zero;
    for (const auto& step : one.trail) {
        const ErrorEstimate before = step->predicted(), after = step->corrected();
        plain.push_back({step->t_ns(),
                         step->transition(),
                         {Eskf::error_of(zero, before.nominal), before.covariance},
                         {Eskf::error_of(zero, after.nominal), after.covariance}});
    }
    const auto expected =
        smoothed<Eskf::kSize>(std::span<const ForwardStep<Eskf::kSize>>(plain), [](std::size_t) { return true; });
    ErrorEstimate found = one.trail.back()->corrected();
    double state_off = 0, covariance_off = 0;
    for (std::size_t k = one.trail.size() - 1; k-- > 0;) {
        found = smoothed_before(*one.trail[k], *one.trail[k + 1], found);
        state_off = std::max(state_off, farthest(Eskf::error_of(zero, found.nominal), expected[k].x));
        covariance_off = std::max(covariance_off, farthest(found.covariance, expected[k].covariance));
    }
    CHECK(state_off < 1e-9);
    CHECK(covariance_off < 1e-9);
    CHECK(found.covariance.trace() < 0.8 * one.trail.front()->corrected().covariance.trace());
}

TEST_CASE("the attitude of the reference's flights is nearer to the truth from both sides, and as near as it says") {
    const auto& reference = read_reference("numerics/eskf.json");
    const auto& noise = reference["meta"]["sensor_model"]["noise"];
    const auto at = [](const std::vector<double>& row, std::size_t first) {
        return Vector3d(row[first], row[first + 1], row[first + 2]);
    };
    const auto ms = [](double t_s) { return std::lround(t_s * 1000); };
    std::map<long, Eigen::Quaterniond> truth;
    for (const auto& row : reference_rows("numerics/eskf_truth.csv"))
        truth[ms(row[0])] = Eigen::Quaterniond(row[7], row[8], row[9], row[10]);
    double filter_nees = 0, both_nees = 0, filter_square = 0, both_square = 0;
    int count = 0, worse = 0, runs = 0;
    for (const auto& run : reference["cases"]) {
        if (run["kind"] != "eskf_run") continue;
        ++runs;
        const auto& initial = run["inputs"]["initial_estimate"];
        EskfNominal nominal;
        nominal.position_enu_m = vector_of(initial["position_enu_m"]);
        nominal.velocity_enu_mps = vector_of(initial["velocity_enu_m_s"]);
        nominal.q_local_body = quaternion_of(initial["q_wxyz"]);
        Eskf::ErrorVector sd = Eskf::ErrorVector::Zero();
        sd.head<15>() << Vector3d::Constant(0.5), Vector3d::Constant(0.02), Vector3d::Constant(0.02),
            Vector3d::Constant(noise["accel_bias_sd_m_s2"]), Vector3d::Constant(noise["gyro_bias_sd_rad_s"]);
        Recorded one({noise["accel_noise_density_m_s2_rtHz"], noise["gyro_noise_density_rad_s_rtHz"],
                      noise["accel_bias_rw_m_s2_per_rts"], noise["gyro_bias_rw_rad_s_per_rts"]},
                     nominal, sd.cwiseAbs2().asDiagonal());
        std::map<long, std::vector<double>> fixes, heights;
        for (auto& row : reference_rows("numerics/" + run["inputs"]["files"][1].get<std::string>()))
            fixes[ms(row[0])] = row;
        for (auto& row : reference_rows("numerics/" + run["inputs"]["files"][2].get<std::string>()))
            heights[ms(row[0])] = row;
        const double gh = noise["gnss_pos_sd_h_m"], gv = noise["gnss_pos_sd_v_m"], vh = noise["gnss_vel_sd_h_m_s"],
                     vv = noise["gnss_vel_sd_v_m_s"], bh = noise["baro_sd_m"];
        Eigen::Matrix<double, 6, 1> variance;
        variance << gh * gh, gh * gh, gv * gv, vh * vh, vh * vh, vv * vv;
        for (const auto& row : reference_rows("numerics/" + run["inputs"]["files"][0].get<std::string>())) {
            one.t_ns = ms(row[0]);
            one.filter.predict(at(row, 1), at(row, 4), 0.01);
            if (const auto height = heights.find(one.t_ns); height != heights.end()) {
                Eskf::Observation<1> h = Eskf::Observation<1>::Zero();
                h(0, Eskf::kPosition + 2) = 1;
                one.correct<1>(Eigen::Matrix<double, 1, 1>(height->second[1] - one.filter.nominal().position_enu_m.z()),
                               h, Eigen::Matrix<double, 1, 1>(bh * bh));
            }
            if (const auto fix = fixes.find(one.t_ns); fix != fixes.end()) {
                Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
                h.leftCols<6>().setIdentity();
                Eigen::Matrix<double, 6, 1> innovation;
                innovation << at(fix->second, 1) - one.filter.nominal().position_enu_m,
                    at(fix->second, 4) - one.filter.nominal().velocity_enu_mps;
                one.correct<6>(innovation, h, Eigen::Matrix<double, 6, 6>(variance.asDiagonal()));
            }
        }
        ErrorEstimate both = one.trail.back()->corrected();
        for (std::size_t k = one.trail.size() - 1; k-- > 0;) {
            both = smoothed_before(*one.trail[k], *one.trail[k + 1], both);
            const auto true_q = truth.find(one.trail[k]->t_ns());
            if (true_q == truth.end()) continue;
            const auto judge = [&](const ErrorEstimate& one_side, double& square, double& nees) {
                const Vector3d off =
                    rotation_vector_from_quaternion(one_side.nominal.q_local_body.conjugate() * true_q->second);
                const Eigen::Matrix3d p = one_side.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude);
                square += off.squaredNorm();
                nees += off.dot(p.ldlt().solve(off)) / 3;
                return p.trace();
            };
            const double then = judge(one.trail[k]->corrected(), filter_square, filter_nees);
            worse += judge(both, both_square, both_nees) > then * (1 + 1e-6);
            ++count;
        }
    }
    REQUIRE(runs == 3);
    REQUIRE(count > 3000);
    CAPTURE(count, worse, std::sqrt(filter_square / count), std::sqrt(both_square / count), filter_nees / count,
            both_nees / count);
    CHECK(worse == 0);
    CHECK(both_square < filter_square);
    // Errors of one flight are alike: three flights say less than their many moments.
    CHECK(both_nees / count > 0.35);
    CHECK(both_nees / count < 2);
}

TEST_CASE("what is considered and never corrected makes no attitude worse from both sides, in no direction") {
    // Two seconds of thrust and ten of a spinning coast, with a triad that is off by 1 % of force and rate.
    Eskf::ErrorVector sd = Eskf::ErrorVector::Constant(0.01);
    sd.head<9>() << Vector3d::Constant(1), Vector3d::Constant(0.1), Vector3d(1, 0.02, 0.02);
    Recorded one({0.02, 0.002, 0.001, 1e-5}, {}, sd.cwiseAbs2().asDiagonal());
    for (int k = 1; k <= 600; ++k) {
        one.t_ns = k;
        one.filter.predict({k < 100 ? 50.0 : -1.0, 0.2, 0}, {6, 0.02, 0}, 0.02);
        if (k % 10 != 0) continue;
        Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
        h.leftCols<6>().setIdentity();
        one.correct<6>(Eigen::Matrix<double, 6, 1>::Zero(), h, Eigen::Matrix<double, 6, 6>::Identity());
    }
    ErrorEstimate both = one.trail.back()->corrected();
    int wider = 0;
    for (std::size_t k = one.trail.size() - 1; k-- > 0;) {
        both = smoothed_before(*one.trail[k], *one.trail[k + 1], both);
        const auto block = [](const ErrorEstimate& of) -> Eigen::Matrix3d {
            return of.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude);
        };
        const Eigen::Matrix3d then = block(one.trail[k]->corrected());
        const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> gained((1 + 1e-4) * then - block(both));
        wider += gained.eigenvalues().minCoeff() < 0;
    }
    CHECK(wider == 0);
    CHECK(both.covariance(Eskf::kAttitude + 1, Eskf::kAttitude + 1) < 0.5 * 0.02 * 0.02);
}

TEST_CASE("an attitude pass gives what was said at each moment, is told when to stop, and says when it is full") {
    AttitudePass pass(2);
    Recorded one({0.1, 0.1, 0, 0}, {}, Eskf::Covariance::Identity());
    for (int k = 1; k <= 3; ++k) {
        one.filter.predict({9.8, 0, 0}, {0.1, 0, 0}, 0.1);
        one.t_ns = k;
        Eskf::Observation<3> h = Eskf::Observation<3>::Zero();
        h.leftCols<3>().setIdentity();
        one.correct<3>(Vector3d(0.1, 0, 0), h, Eigen::Matrix3d::Identity());
        if (k != 2) pass.keep({k, one.filter.nominal().q_local_body, Eigen::Matrix3d::Identity()});
    }
    pass.keep(ErrorTrail(one.trail));
    pass.keep(ErrorTrail{});
    const auto found = smoothed(pass, 4, kGoesOn).value();
    REQUIRE(found.size() == 2);
    CHECK((found[0].both.t_ns == 1 && found[0].said.t_ns == 1 && found[1].both.t_ns == 3));
    CHECK(
        found[1].both.covariance_rad2.isApprox(one.filter.covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude)));
    CHECK(found[0].both.covariance_rad2.trace() < 3);
    CHECK(!smoothed(pass, 4, [](double) { return false; }));
    // Without the last step nothing comes back from it.
    const auto before = smoothed(pass, 3, kGoesOn).value();
    REQUIRE(before.size() == 1);
    CHECK(before[0].both.covariance_rad2.trace() > found[0].both.covariance_rad2.trace());
    // Nothing known of the flight does not mean stop: the other filters have theirs.
    REQUIRE(smoothed(pass, -1, kGoesOn));
    CHECK(smoothed(pass, -1, kGoesOn)->empty());
    CHECK((pass.take() && pass.take() && !pass.full()));
    CHECK(!pass.take());
    CHECK(pass.full());
}
