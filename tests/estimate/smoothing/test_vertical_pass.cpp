// The vertical filter's forward pass gone back along: a real quadrotor's flight (tests/reference/data/SOURCES.md) with
// a height each second, against the heights in between; and that the steps it leaves fit together.
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include <Eigen/Dense>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

constexpr double kHeightSigma_m = 0.08; ///< of the satellite heights
constexpr std::int64_t kQuadrotorBegan_ns = 1'700'000'000'000'000'000;

std::int64_t flown_ns(double t_s) {
    return kQuadrotorBegan_ns + seconds_to_ns(t_s);
}

struct Quadrotor {
    ForwardPass<kVerticalStates> pass;
    std::vector<double> t_s, height_m; ///< that the filter was not told
};

/// Acc in m/s2 (z up), Euler angles Z-Y'-X'' in degrees; every tenth height of the truth is a measurement.
Quadrotor flown(Motion motion) {
    const auto imu = test::reference_rows("data/quadrotor_vertical/IMU_1.csv");
    const auto truth = test::reference_rows("data/quadrotor_vertical/GT.csv");
    Quadrotor out;
    VerticalSettings settings;
    settings.accel_bias_mps2 = 0.5;
    settings.accel_bias_walk_mps2_rts = 0.02;
    VerticalFilter filter(settings);
    filter.set_motion(motion);
    filter.leave_steps(&out.pass);
    filter.start(flown_ns(0), truth[0][6], 0.1, 0.0, 1.0);
    VerticalInput input(SensorNoise{.accel_noise_mps2 = 2.0}, 9.80665);
    std::size_t next = 1;
    for (const auto& row : imu) {
        const double roll = row[1] * M_PI / 180.0, pitch = row[2] * M_PI / 180.0;
        const TiltInput tilt{{-std::sin(pitch), std::sin(roll) * std::cos(pitch), std::cos(roll) * std::cos(pitch)},
                             0.01};
        for (; next < truth.size() && truth[next][0] <= row[0]; ++next) {
            if (next % 10 == 0) {
                filter.height(flown_ns(truth[next][0]), truth[next][6], kHeightSigma_m);
            } else {
                out.t_s.push_back(truth[next][0]);
                out.height_m.push_back(truth[next][6]);
            }
        }
        const ImuSample sample{flown_ns(row[0]), {row[4], row[5], row[6]}, Eigen::Vector3d::Constant(kNaN)};
        const auto up = input.acceleration(sample, tilt, motion);
        REQUIRE(up);
        filter.accelerometer(sample.t_ns, up->accel_up_mps2, up->sigma_mps2);
    }
    return out;
}

} // namespace

TEST_CASE("a quadrotor's heights between those measured are found better from both sides") {
    const Quadrotor quadrotor = flown(Motion::coast);
    const auto& steps = quadrotor.pass.steps();
    REQUIRE(steps.size() > 400);
    const auto back = smoothed<kVerticalStates>(steps, [](std::size_t) { return true; });
    double forward_squares = 0, back_squares = 0, normalised = 0;
    int compared = 0;
    std::size_t k = 0;
    for (std::size_t i = 0; i < quadrotor.t_s.size(); ++i) {
        const double t_s = quadrotor.t_s[i];
        if (t_s < 3 || flown_ns(t_s) > steps.back().t_ns) continue;
        while (k + 1 < steps.size() && steps[k + 1].t_ns <= flown_ns(t_s)) ++k;
        // Steps are at most 0.05 s apart.
        const double ahead_s = seconds_between(steps[k].t_ns, flown_ns(t_s));
        REQUIRE(ahead_s < 0.06);
        const auto error = [&](const VerticalKalman& state) {
            return state.x(0) + state.x(1) * ahead_s + 0.5 * state.x(2) * ahead_s * ahead_s - quadrotor.height_m[i];
        };
        forward_squares += std::pow(error(steps[k].corrected), 2);
        back_squares += std::pow(error(back[k]), 2);
        // What is compared with is as wrong as what was measured.
        normalised += std::pow(error(back[k]), 2) / (back[k].covariance(0, 0) + kHeightSigma_m * kHeightSigma_m);
        ++compared;
    }
    const double forward_m = std::sqrt(forward_squares / compared), back_m = std::sqrt(back_squares / compared);
    INFO("forward " << forward_m << " m, both ways " << back_m << " m rms, normalised square " << normalised / compared
                    << ", over " << compared << " heights");
    CHECK(compared > 250);
    CHECK(back_m < 0.8 * forward_m);
    CHECK(normalised / compared < 2);
    CHECK(normalised / compared > 0.1);
}

TEST_CASE("a smoothed state is never stated worse than the filter's") {
    for (const Motion motion : {Motion::coast, Motion::moving, Motion::descent}) {
        INFO("motion " << static_cast<int>(motion));
        const Quadrotor quadrotor = flown(motion);
        const auto& steps = quadrotor.pass.steps();
        REQUIRE(steps.size() > 20);
        const auto back = smoothed<kVerticalStates>(steps, [](std::size_t) { return true; });
        int worse = 0, negative = 0;
        for (std::size_t k = 0; k < steps.size(); ++k)
            for (int state = 0; state < 3; ++state) {
                worse += back[k].covariance(state, state) > steps[k].corrected.covariance(state, state) * (1 + 1e-6);
                negative += !(back[k].covariance(state, state) > 0);
            }
        CHECK(worse == 0);
        CHECK(negative == 0);
    }
}

TEST_CASE("what lies between two steps is a transition and added noise, never taken away") {
    const Quadrotor quadrotor = flown(Motion::coast);
    const auto& steps = quadrotor.pass.steps();
    int wrong = 0;
    for (std::size_t k = 1; k < steps.size(); ++k) {
        const VerticalMatrix& f = steps[k].transition;
        const VerticalMatrix added =
            steps[k].predicted.covariance - f * steps[k - 1].corrected.covariance * f.transpose();
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(added);
        wrong += !(solver.eigenvalues()(0) > -1e-9 * (1 + steps[k].predicted.covariance.norm()));
    }
    CHECK(wrong == 0);
}

TEST_CASE("at rest, where two models run, nothing is left to go back along") {
    VerticalFilter filter{VerticalSettings{}};
    ForwardPass<kVerticalStates> pass;
    filter.leave_steps(&pass);
    filter.start_on_rail(flown_ns(0), 1);
    for (int i = 1; i < 200; ++i) {
        filter.accelerometer(flown_ns(0.01 * i), 0, 0.3);
        if (i % 4 == 0) filter.height(flown_ns(0.01 * i), 0, 0.5);
    }
    CHECK(pass.steps().empty());
    filter.set_motion(Motion::boost);
    for (int i = 200; i < 220; ++i) filter.accelerometer(flown_ns(0.01 * i), 80, 0.3);
    REQUIRE(!pass.steps().empty());
    CHECK(pass.steps().front().transition.isZero());
}
