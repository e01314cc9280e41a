// Navigation beside a bare 15-state filter step, and the rate of predicted flights, in one process.
#include <chrono>
#include <cstdio>

#include "server/estimate/navigation.hpp"
#include "server/estimate/prediction.hpp"

using namespace turnstone;
using Clock = std::chrono::steady_clock;

namespace {

constexpr int kSamplesPerFix = 40;

double seconds_since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

/// Covariance prediction and a six-dimensional update with nothing around them.
double bare_steps_per_s() {
    using Matrix = Eigen::Matrix<double, 15, 15>;
    Matrix p = Matrix::Identity();
    Matrix f = Matrix::Identity();
    f.block<3, 3>(0, 3) = 0.005 * Eigen::Matrix3d::Identity();
    const Eigen::Matrix<double, 6, 15> h = Eigen::Matrix<double, 6, 15>::Identity();
    const auto start = Clock::now();
    int steps = 0;
    for (; seconds_since(start) < 1.0; ++steps) {
        p = (f * p * f.transpose()).eval();
        p.diagonal().array() += 1e-4;
        if (steps % kSamplesPerFix == 0) {
            const Eigen::Matrix<double, 6, 6> s = h * p * h.transpose() + Eigen::Matrix<double, 6, 6>::Identity();
            const Eigen::Matrix<double, 15, 6> gain = s.ldlt().solve(h * p).transpose();
            const Matrix keep = Matrix::Identity() - gain * h;
            p = (keep * p * keep.transpose() + gain * gain.transpose()).eval();
        }
    }
    return steps / seconds_since(start);
}

double navigation_samples_per_s() {
    const Site site{};
    Navigation navigation(SensorNoise{}, site);
    std::int64_t t_ns = 1'000'000'000;
    const auto sample = [&](int k) {
        t_ns += 5'000'000;
        navigation.imu({t_ns, {9.8, 0.1, 0.0}, {0.01, 0.0, 0.0}});
        if (k % kSamplesPerFix == 0) navigation.fix({t_ns, 0, 0, 0, {0, 0, 0}, 3, 2, 3, 10});
    };
    for (int k = 0; k < 600; ++k) sample(k);
    navigation.set_motion(Motion::coast);
    for (int k = 0; k < 400; ++k) sample(k); // until one alignment is left
    const auto start = Clock::now();
    int steps = 0;
    for (; seconds_since(start) < 1.0; ++steps) sample(steps);
    return steps / seconds_since(start);
}

double predicted_flights_per_s() {
    const Site site{};
    RocketModel rocket{};
    rocket.mass_dry_kg = 3;
    rocket.reference_area_m2 = 0.005;
    rocket.drag_coefficient = {{0}, {0.5}};
    rocket.thrust_n = {{0, 0.1, 1.7, 1.8}, {0, 350, 320, 0}};
    rocket.mass_propellant_kg = 0.3;
    rocket.parachutes = {{"first", 0.1, Parachute::Trigger::apogee, 0, 0.5}, {"second", 1.5, Parachute::Trigger::height, 180, 0.2}};
    Predictor predictor(rocket, site);
    const FlightFit fit(rocket);
    const WindProfile wind(site);
    PredictionStart from{};
    from.phase = Phase::drogue_descent;
    from.position_enu_m = {0, 0, 1000};
    from.velocity_enu_mps = {0, 0, -22};
    from.nose_enu = {0, 0, 1};
    from.covariance.setIdentity();
    from.place_known = true;
    const auto start = Clock::now();
    int rounds = 0;
    for (; seconds_since(start) < 1.0; ++rounds) {
        predictor.start(from, fit, wind, DayAtmosphere(PadReference{}));
        predictor.advance(Predictor::kBlocks);
    }
    return rounds * Predictor::kFlights / seconds_since(start);
}

} // namespace

int main() {
    const double bare = bare_steps_per_s();
    const double navigation = navigation_samples_per_s();
    std::printf("bare 15-state filter   %9.0f steps/s\n", bare);
    std::printf("navigation             %9.0f samples/s, ratio %.2f\n", navigation, navigation / bare);
    std::printf("predicted descents     %9.0f flights/s from 1000 m\n", predicted_flights_per_s());
}
