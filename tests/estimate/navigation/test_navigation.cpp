// Navigation against the truth of seeded simulator flights. The check means something because the simulator (tools/sim)
// shares no model code with the estimators: it integrates forces on a body with its own equations and rotations; only
// the standard atmosphere's constants and the site's geodesy are common.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "shared/time.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/fly.hpp"
#include "tools/sim/scenario/error_set.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

namespace {

// A sanitizer makes Eigen a hundred times slower; it looks for faults, which a few flights show, not for statistics.
#ifdef TURNSTONE_INSTRUMENTED
constexpr bool kInstrumented = true;
#else
constexpr bool kInstrumented = false;
#endif
constexpr int kFlights = kInstrumented ? 4 : 100;
constexpr std::uint64_t kLostFixFlights = kInstrumented ? 1 : 20;

sim::Scenario scenario(const std::string& name) {
    sim::Scenario scenario = test::demo_scenario(name);
    scenario.disperse = true;
    return scenario;
}

std::int64_t ns(double t_s) {
    return std::llround(t_s * 1e9);
}

/// What a phase detector would say, from the truth and a little late, as a detector is.
Motion motion_at(const sim::Truth& truth, double t_s) {
    const double late_s = 0.1;
    const auto& e = truth.events;
    if (!(t_s > e.liftoff_s + late_s)) return Motion::rest;
    if (!(t_s > e.burnout_s + late_s)) return Motion::boost;
    if (!(t_s > e.apogee_s + late_s)) return Motion::coast;
    if (!(t_s > e.touchdown_s + 2)) return Motion::descent;
    return Motion::rest;
}

struct Outcome {
    double position_rms_m = 0, velocity_rms_mps = 0, tilt_rms_deg = 0; ///< liftoff to apogee
    double descent_position_rms_m = 0;
    std::vector<double> nees; ///< position and velocity, 6 degrees of freedom, once a second in flight
    bool ever_lost = false;
    bool ever_dead_reckoning = false;
};

Outcome fly_and_navigate(const sim::Scenario& scenario, std::uint64_t seed) {
    const auto flight = sim::fly_sensors(scenario, seed);
    Navigation navigation(scenario.vehicle.sensors, scenario.site);
    PadReference pad;
    pad.temperature_k = scenario.site.pad_temperature_k.value();
    pad.height_msl_m = scenario.site.pad.height_m - scenario.site.geoid_height_m;
    pad.latitude_deg = scenario.site.pad.latitude_deg;
    double sum = 0;
    int count = 0;
    for (const auto& reading : flight.sensors.pressure) {
        if (reading.t_s < 10) {
            sum += reading.pressure_pa;
            ++count;
        }
    }
    pad.pressure_pa = sum / count;
    pad.pressure_sigma_pa = scenario.vehicle.sensors.pressure_noise_pa / std::sqrt(count);
    const DayAtmosphere atmosphere(pad);

    Outcome outcome;
    std::size_t next_pressure = 0, next_fix = 0, at = 0;
    double position2 = 0, velocity2 = 0, tilt2 = 0, descent2 = 0;
    int ascent_count = 0, descent_count = 0;
    double next_nees_s = 0;
    const auto& events = flight.truth.events;
    for (const auto& reading : flight.sensors.imu) {
        if (reading.t_s < scenario.before_ignition_s - 5) continue; // five seconds on the pad are enough to align
        if (reading.t_s > events.touchdown_s) break;
        navigation.set_motion(motion_at(flight.truth, reading.t_s));
        navigation.imu({ns(reading.t_s), reading.accel_body_mps2, reading.rate_body_radps});
        while (next_pressure < flight.sensors.pressure.size() &&
               flight.sensors.pressure[next_pressure].t_s <= reading.t_s) {
            const auto& p = flight.sensors.pressure[next_pressure++];
            if (p.t_s < scenario.before_ignition_s - 5) continue;
            const auto heights = atmosphere.heights(p.pressure_pa, scenario.vehicle.sensors.pressure_noise_pa);
            const auto now = navigation.estimate();
            const double speed = now.valid ? now.velocity_enu_mps.norm() : 0;
            const double dynamic_pa = 0.5 * heights.density_kg_m3 * speed * speed;
            const double per_pa = 1 / (heights.density_kg_m3 * kGravityStandard_mps2);
            const double port_m = port_noise_pa(speed / heights.speed_of_sound_mps, dynamic_pa) * per_pa;
            navigation.height(ns(p.t_s), heights.above_pad_m, std::hypot(heights.above_pad_noise_m, port_m),
                              heights.above_pad_sigma_m,
                              scenario.vehicle.sensors.port_coefficient_sigma * dynamic_pa * per_pa);
        }
        while (next_fix < flight.sensors.fix.size() && flight.sensors.fix[next_fix].t_s <= reading.t_s) {
            const auto& f = flight.sensors.fix[next_fix++];
            navigation.fix({ns(f.t_s), f.latitude_deg, f.longitude_deg, f.height_msl_m + scenario.site.geoid_height_m,
                            f.velocity_enu_mps, f.fix_dimensions, f.accuracy_horizontal_m, f.accuracy_vertical_m,
                            f.satellites});
        }
        while (at + 1 < flight.truth.samples.size() && flight.truth.samples[at].t_s < reading.t_s - 1e-6) ++at;
        const auto& truth = flight.truth.samples[at];
        if (!(truth.t_s > events.liftoff_s)) {
            next_nees_s = truth.t_s;
            continue;
        }
        const auto estimate = navigation.estimate();
        outcome.ever_lost |= !estimate.valid;
        outcome.ever_dead_reckoning |= estimate.mode == NavigationMode::dead_reckoning;
        const Vector3d position_error = truth.position_enu_m - estimate.position_enu_m;
        const Vector3d velocity_error = truth.velocity_enu_mps - estimate.velocity_enu_mps;
        if (truth.t_s < events.apogee_s) {
            position2 += position_error.squaredNorm();
            velocity2 += velocity_error.squaredNorm();
            const double cosine =
                (truth.q_local_body * Vector3d::UnitX()).dot(estimate.q_local_body * Vector3d::UnitX());
            tilt2 += std::pow(std::acos(std::clamp(cosine, -1.0, 1.0)) * 57.29577951308232, 2);
            ++ascent_count;
        } else {
            descent2 += position_error.squaredNorm();
            ++descent_count;
        }
        if (truth.t_s >= next_nees_s && estimate.valid) {
            next_nees_s += 1;
            Eigen::Matrix<double, 6, 1> error;
            error << position_error, velocity_error;
            const Eigen::Matrix<double, 6, 6> covariance = navigation.covariance().topLeftCorner<6, 6>();
            outcome.nees.push_back(error.dot(covariance.ldlt().solve(error)));
        }
    }
    outcome.position_rms_m = std::sqrt(position2 / ascent_count);
    outcome.velocity_rms_mps = std::sqrt(velocity2 / ascent_count);
    outcome.tilt_rms_deg = std::sqrt(tilt2 / ascent_count);
    outcome.descent_position_rms_m = descent_count > 0 ? std::sqrt(descent2 / descent_count) : 0;
    return outcome;
}

} // namespace

struct Statistics {
    std::vector<double> position_m, velocity_mps, tilt_deg; ///< rms in ascent of each flight, sorted
    double nees_mean = 0, inside = 0;
};

/// Chi-square with 6 degrees of freedom: 0.95 quantile 12.59 (Abramowitz and Stegun table 26.8).
Statistics statistics_of(const sim::Scenario& scenario, int flights) {
    Statistics out;
    std::size_t count = 0;
    for (int seed = 1; seed <= flights; ++seed) {
        const auto outcome = fly_and_navigate(scenario, static_cast<std::uint64_t>(seed));
        INFO("seed " << seed);
        CHECK_FALSE(outcome.ever_lost);
        for (const double value : outcome.nees) {
            out.nees_mean += value;
            out.inside += value < 12.592;
        }
        count += outcome.nees.size();
        out.position_m.push_back(outcome.position_rms_m);
        out.velocity_mps.push_back(outcome.velocity_rms_mps);
        out.tilt_deg.push_back(outcome.tilt_rms_deg);
    }
    out.nees_mean /= static_cast<double>(count);
    out.inside /= static_cast<double>(count);
    for (auto* values : {&out.position_m, &out.velocity_mps, &out.tilt_deg}) std::sort(values->begin(), values->end());
    const std::size_t middle = out.position_m.size() / 2;
    UNSCOPED_INFO("ascent rms, median (worst): position "
                  << out.position_m[middle] << " (" << out.position_m.back() << ") m, velocity "
                  << out.velocity_mps[middle] << " (" << out.velocity_mps.back() << ") m/s, long axis "
                  << out.tilt_deg[middle] << " (" << out.tilt_deg.back() << ") deg; mean NEES of 6: " << out.nees_mean
                  << ", inside 95 %: " << 100 * out.inside << " %");
    return out;
}

TEST_CASE("over a hundred dispersed flights with errors of consumer parts, errors are what the filter says they are",
          "[statistics]") {
    auto nominal = scenario("nominal");
    nominal.errors = sim::error_set_from_name("tuning").value();
    const Statistics found = statistics_of(nominal, kFlights);
    if (kInstrumented) return; // a few flights say nothing
    // Epochs of a flight are correlated, and the filter is meant to be a little cautious, never overconfident.
    CHECK(found.nees_mean > 3.0);
    CHECK(found.nees_mean < 7.5);
    CHECK(found.inside > 0.92);
}

TEST_CASE("with sensors better than the filter allows for, it is accurate and cautious", "[statistics]") {
    const Statistics found = statistics_of(scenario("nominal"), kFlights / 2);
    if (kInstrumented) return;
    const std::size_t middle = found.position_m.size() / 2;
    CHECK(found.nees_mean < 6.0);
    CHECK(found.inside > 0.95);
    CHECK(found.position_m[middle] < 3.0); // what wanders in fixes stays: to average it away would be to claim too much
    CHECK(found.velocity_mps[middle] < 2.0); // most of it before the first fix, when a degree of lean is 3 m/s
    CHECK(found.tilt_deg[middle] < 3.0);
}

TEST_CASE("without GNSS fixes it dead-reckons, says so, and its uncertainty grows with its error", "[statistics]") {
    const auto lost = scenario("gnss-loss");
    int inside = 0, total = 0;
    for (std::uint64_t seed = 1; seed <= kLostFixFlights; ++seed) {
        const auto outcome = fly_and_navigate(lost, seed);
        CHECK(outcome.ever_dead_reckoning);
        for (const double value : outcome.nees) {
            inside += value < 12.592;
            ++total;
        }
    }
    CAPTURE(inside, total);
    CHECK((kInstrumented || inside > 0.9 * total));
}
