// Edges and figures of simulated charges at the rates that vehicles have, against the simulator's truth, which knows
// nothing of the model that the analysis fits. TURNSTONE_FLIGHTS=500 fires the full set.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <numbers>
#include <optional>
#include <utility>

#include "server/analysis/charge/findings.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

constexpr std::uint64_t kFirstChargeSeed = 5000; // nothing was tuned on these

int charges_fired() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : 40;
}

/// One channel of a firing, sampled at a rate with any phase: before and after what is simulated it stays as it was.
Signal sampled(const sim::Firing& firing, double sim::FiringSample::*channel, double rate_hz, double noise, bool mean,
               sim::Random& random) {
    const double period_s = 1 / rate_hz;
    Signal out{.readings = {}, .mean_over_s = mean ? period_s : 0.0};
    const auto at = [&](double t_s) {
        const double index = (t_s - (firing.samples.front().t_s - firing.t_s)) * 1000;
        const auto k = static_cast<std::size_t>(
            std::clamp(std::ceil(index - 1e-6), 0.0, static_cast<double>(firing.samples.size() - 1)));
        return firing.samples[k].*channel;
    };
    const double phase_s = random.uniform(0.0, std::min(period_s, 0.999 * period_s));
    const int steps = std::max(1, static_cast<int>(std::lround(period_s * 1000)));
    for (double t_s = -3.0 + phase_s; t_s < 0.5; t_s += period_s) {
        double value = 0;
        for (int k = 0; k < steps; ++k) value += mean ? at(t_s - k * 0.001) / steps : at(t_s) / steps;
        out.readings.push_back({t_s, value + noise * random.normal()});
    }
    return out;
}

struct Tally {
    double square_sum = 0, normalised_sum = 0, within2 = 0;
    int count = 0, wanted = 0;
    void add(const Measured& found, double truth) {
        ++wanted;
        if (!std::isfinite(found.value)) return;
        const double error = found.value - truth;
        square_sum += error * error;
        normalised_sum += error * error / (found.sigma * found.sigma);
        within2 += std::abs(error) < 2 * found.sigma ? 1 : 0;
        ++count;
    }
    [[nodiscard]] double rms() const { return std::sqrt(square_sum / count); }
    [[nodiscard]] double normalised() const { return normalised_sum / count; }
};

/// Errors of one kind of finding hold what their sigmas promise, and are not larger than `most`.
void check_promise(const std::string& what, const Tally& tally, double most) {
    INFO(what << ": found " << tally.count << " of " << tally.wanted << ", rms " << tally.rms()
              << ", normalised square " << tally.normalised() << ", within two sigmas " << tally.within2 / tally.count);
    CHECK(tally.count >= 0.95 * tally.wanted);
    CHECK(tally.rms() < most);
    CHECK(tally.normalised() < 1.7);
    CHECK(tally.normalised() > 0.08);
    CHECK(tally.within2 >= 0.88 * tally.count);
}

/// Tethered tests until kWatched_s after their first charge.
constexpr double kWatched_s = 4;
std::vector<sim::Truth> simulated_tests(const std::string& scenario) {
    std::vector<sim::Truth> out;
    const sim::Scenario made = test::demo_scenario(scenario);
    for (int k = 0; static_cast<int>(out.size()) < charges_fired(); ++k) {
        sim::FlightSetup setup = sim::make_setup(made, kFirstChargeSeed + static_cast<std::uint64_t>(k));
        setup.ignition_s = 0.5;
        sim::Truth truth = sim::run_truth(setup, sim::RunKind::tethered, 0.5, 0);
        const double until_s = truth.firings.front().t_s + kWatched_s;
        std::erase_if(truth.samples, [&](const sim::TruthSample& sample) { return sample.t_s > until_s; });
        truth.samples.shrink_to_fit();
        out.push_back(std::move(truth));
    }
    return out;
}

std::vector<sim::Firing> simulated_firings(const std::string& scenario) {
    std::vector<sim::Firing> out;
    for (sim::Truth& truth : simulated_tests(scenario)) out.push_back(std::move(truth.firings.front()));
    return out;
}

/// When the value is above `level` for the first and for the last time, between the samples; seconds after the firing.
std::pair<double, double> above(const sim::Firing& firing, double sim::FiringSample::*channel, double level) {
    std::pair<double, double> out{kNone, kNone};
    for (std::size_t k = 1; k < firing.samples.size(); ++k) {
        const sim::FiringSample &a = firing.samples[k - 1], &b = firing.samples[k];
        if ((a.*channel > level) == (b.*channel > level)) continue;
        const double t_s = a.t_s + (level - a.*channel) / (b.*channel - a.*channel) * (b.t_s - a.t_s) - firing.t_s;
        (b.*channel > level && std::isnan(out.first) ? out.first : out.second) = t_s;
    }
    return out;
}

double greatest_of(const sim::Firing& firing, double sim::FiringSample::*channel) {
    double out = 0;
    for (const sim::FiringSample& sample : firing.samples) out = std::max(out, std::abs(sample.*channel));
    return out;
}

} // namespace

TEST_CASE("edges of charges hold the truth within what they promise, from a kilohertz down to 25 readings a second") {
    struct Rates {
        double accel_hz, pressure_hz;
        double lid_s, line_s, pulse_s; ///< largest rms error
    };
    const auto firings = simulated_firings("separation-test");
    for (const Rates& rates :
         {Rates{1000, 1000, 0.8e-3, 1.2e-3, 0.6e-3}, Rates{200, 200, 4e-3, 5e-3, 2.5e-3},
          Rates{100, 100, 10e-3, 0, 5e-3}, Rates{50, 50, 15e-3, 0, 10e-3}, Rates{25, 25, 30e-3, 0, 20e-3}}) {
        Tally lid, line, free_time, pulse;
        for (std::size_t k = 0; k < firings.size(); ++k) {
            const sim::Firing& firing = firings[k];
            sim::Random random(k, "sampling");
            ChargeRecord record;
            record.fired_s = 0;
            record.fired_sigma_s = 3e-4;
            record.until_s = 0.5;
            const double root = std::sqrt(rates.accel_hz / 200);
            record.accel_mps2[0] =
                sampled(firing, &sim::FiringSample::axial_mps2, rates.accel_hz, 0.25 * root, true, random);
            record.pressure_pa = sampled(firing, &sim::FiringSample::bay_over_pa, rates.pressure_hz, 10, false, random);
            const ChargeFindings found = analyse(record);
            lid.add(found.lid_off_s, firing.lid_off_s);
            line.add(found.line_taut_s, firing.line_taut_s);
            free_time.add(found.free_time_s, firing.line_taut_s - firing.lid_off_s);
            pulse.add(found.pulse_begins_s, firing.pulse_begins_s);
        }
        const std::string at = " at " + std::to_string(static_cast<int>(rates.accel_hz)) + " Hz";
        check_promise("lid off" + at, lid, rates.lid_s);
        if (rates.line_s > 0) {
            check_promise("line taut" + at, line, rates.line_s);
            check_promise("free time" + at, free_time, rates.line_s);
        }
        check_promise("pulse begins" + at, pulse, rates.pulse_s);
    }
}

TEST_CASE("peak, rise, decay and duration of a pulse and the shock are those of the noiseless record") {
    Tally peak, shock, duration;
    const auto firings = simulated_firings("separation-test");
    for (std::size_t k = 0; k < firings.size(); ++k) {
        const sim::Firing& firing = firings[k];
        sim::Random random(k, "sampling");
        ChargeRecord record;
        record.fired_s = 0;
        record.fired_sigma_s = 3e-4;
        record.until_s = 0.5;
        record.burst_axial_mps2 = sampled(firing, &sim::FiringSample::axial_mps2, 1000, 0.56, true, random);
        record.bay_pa = sampled(firing, &sim::FiringSample::bay_over_pa, 1000, 25, false, random);
        const ChargeFindings found = analyse(record);
        double greatest_pa = 0, at_s = 0, farthest = 0;
        for (const sim::FiringSample& sample : firing.samples) {
            if (sample.bay_over_pa > greatest_pa) at_s = sample.t_s;
            greatest_pa = std::max(greatest_pa, sample.bay_over_pa);
            farthest = std::max(farthest, std::abs(sample.axial_mps2));
        }
        double fallen_s = at_s;
        for (const sim::FiringSample& sample : firing.samples)
            if (sample.t_s > at_s && sample.bay_over_pa > greatest_pa / std::exp(1.0)) fallen_s = sample.t_s;
        peak.add(found.pulse_peak_pa, greatest_pa);
        shock.add(found.shock_mps2, farthest);
        CHECK(found.pulse_decay_s.value == Approx(fallen_s - at_s).margin(4e-3));
        const auto [up_s, down_s] = above(firing, &sim::FiringSample::bay_over_pa, 0.1 * greatest_pa);
        duration.add(found.pulse_duration_s, down_s - up_s);
        CHECK(found.pulse_rise_s.value > 0.5e-3);
        CHECK(found.pulse_rise_s.value < 5e-3);
    }
    check_promise("duration", duration, 2e-3);
    INFO("peak rms " << peak.rms() << ", shock rms " << shock.rms());
    CHECK(peak.count == peak.wanted);
    CHECK(peak.rms() < 60);
    CHECK(shock.count == shock.wanted);
    CHECK(shock.rms() < 6);
}

TEST_CASE("current, battery and turning are those of the noiseless record") {
    constexpr double kFull_v = 8.1, kNoise_v = 0.008, kGyro_radps = 0.005;
    Tally current, sag, back, turn_rate, turned;
    const auto tests = simulated_tests("separation-test");
    for (std::size_t k = 0; k < tests.size(); ++k) {
        const sim::Firing& firing = tests[k].firings.front();
        sim::Random random(k, "sampling");
        ChargeRecord record;
        record.fired_s = 0;
        record.fired_sigma_s = 3e-4;
        record.until_s = kWatched_s;
        record.current_a = sampled(firing, &sim::FiringSample::current_a, 1000, 0.03, false, random);
        record.burst_battery_v = sampled(firing, &sim::FiringSample::battery_sag_v, 1000, kNoise_v, false, random);
        for (Reading& reading : record.burst_battery_v.readings) reading.value = kFull_v - reading.value;
        record.burst_turn_radps =
            sampled(firing, &sim::FiringSample::turn_rate_radps, 1000, kGyro_radps * std::sqrt(5.0), true, random);
        const Eigen::Vector3d bias_radps(0.01 * random.normal(), 0.01 * random.normal(), 0.01 * random.normal());
        for (std::size_t axis = 0; axis < 3; ++axis) record.rate_radps[axis].mean_over_s = sim::kTruthStep_s;
        const auto add_rates = [&](double t_s, const Eigen::Vector3d& rate_radps) {
            for (std::size_t axis = 0; axis < 3; ++axis) {
                const auto i = static_cast<Eigen::Index>(axis);
                record.rate_radps[axis].readings.push_back(
                    {t_s, rate_radps[i] + bias_radps[i] + kGyro_radps * random.normal()});
            }
        };
        const Eigen::Quaterniond before = tests[k].samples.front().q_local_body;
        const double first_s = tests[k].samples.front().t_s - firing.t_s;
        for (int step = 400; step > 0; --step) add_rates(first_s - step * sim::kTruthStep_s, Eigen::Vector3d::Zero());
        double farthest_rad = 0;
        for (const sim::TruthSample& sample : tests[k].samples) {
            add_rates(sample.t_s - firing.t_s, sample.rate_body_radps);
            farthest_rad = std::max(farthest_rad, before.angularDistance(sample.q_local_body));
        }
        const ChargeFindings found = analyse(record);
        current.add(found.current_peak_a, greatest_of(firing, &sim::FiringSample::current_a));
        sag.add(found.battery_sag_v, greatest_of(firing, &sim::FiringSample::battery_sag_v));
        back.add(found.battery_back_s, above(firing, &sim::FiringSample::battery_sag_v, kBack_v).second);
        turn_rate.add(found.turn_rate_radps, greatest_of(firing, &sim::FiringSample::turn_rate_radps));
        turned.add(found.payload_turned_rad, farthest_rad);
        CHECK(found.battery_back_seen == kYes);
        CHECK(found.battery_least_v.value == Approx(kFull_v - found.battery_sag_v.value).margin(2e-3));
    }
    check_promise("battery sag", sag, 0.03);
    check_promise("battery back", back, 0.015);
    check_promise("turn rate", turn_rate, 0.1);
    // A pulse of two readings may be higher between them, and a gyro's scale may be wrong: not in these records.
    for (const auto& [tally, most] : {std::pair{&current, 0.1}, std::pair{&turned, 1e-3}}) {
        INFO("rms " << tally->rms() << " of " << most);
        CHECK(tally->count == tally->wanted);
        CHECK(tally->rms() < most);
        CHECK(tally->within2 == tally->count);
    }
}

TEST_CASE("a hole in a fast record leaves a wide sigma, and no slow barometer stands in for it") {
    const auto firings = simulated_firings("separation-test");
    for (std::size_t k = 0; k < firings.size(); ++k) {
        sim::Random random(k, "sampling");
        ChargeRecord record;
        record.fired_s = 0;
        record.fired_sigma_s = 3e-4;
        record.until_s = 0.5;
        record.bay_pa = sampled(firings[k], &sim::FiringSample::bay_over_pa, 1000, 25, false, random);
        record.pressure_pa = sampled(firings[k], &sim::FiringSample::bay_over_pa, 25, 6, false, random);
        std::erase_if(record.bay_pa.readings, [](const Reading& r) { return r.t_s > -0.01 && r.t_s < 0.01; });
        const Measured begins = analyse(record).pulse_begins_s;
        CHECK(std::abs(begins.value) <= 10.5e-3);
        CHECK(std::abs(begins.value - firings[k].pulse_begins_s) < 3 * begins.sigma);
        CHECK(begins.sigma > 2e-3);
    }
}

namespace {

/// A payload that rolls by an angle within 0.3 s of the firing, its inertial sensor read 200 times a second.
ChargeRecord rolled_over(double angle_rad, sim::Random& random) {
    constexpr double kRolls_s = 0.3, kPeriod_s = 0.005;
    ChargeRecord record;
    record.fired_s = 0;
    record.fired_sigma_s = 1e-3;
    record.until_s = 8;
    record.gyro_range_radps = 34.9;
    for (auto* triad : {&record.accel_mps2, &record.rate_radps})
        for (Signal& axis : *triad) axis.mean_over_s = kPeriod_s;
    const Eigen::Vector3d up(0, 0, 9.81), accel_offset(0.2, -0.3, 0.1), gyro_offset(0.01, 0, -0.02);
    const auto angle = [&](double t_s) {
        const double phase = std::clamp(t_s / kRolls_s, 0.0, 1.0);
        return angle_rad * (phase - std::sin(2 * std::numbers::pi * phase) / (2 * std::numbers::pi));
    };
    for (int step = -1200; step < 1600; ++step) {
        const double t_s = step * kPeriod_s;
        const Eigen::Vector3d force =
            Eigen::AngleAxisd(-angle(t_s), Eigen::Vector3d::UnitX()) * up + accel_offset + 0.25 * random.normal3();
        const Eigen::Vector3d rate = (angle(t_s) - angle(t_s - kPeriod_s)) / kPeriod_s * Eigen::Vector3d::UnitX() +
                                     gyro_offset + 0.004 * random.normal3();
        for (std::size_t k = 0; k < 3; ++k) {
            record.accel_mps2[k].readings.push_back({t_s, force[static_cast<Eigen::Index>(k)]});
            record.rate_radps[k].readings.push_back({t_s, rate[static_cast<Eigen::Index>(k)]});
        }
    }
    return record;
}

} // namespace

TEST_CASE("a payload that rolled over has a good accelerometer if the gyro saw it roll, and an unknown one if not") {
    constexpr double kRoll_rad = 3.0;
    const auto every = [](auto& triad, double from_s, const auto& change) {
        for (Signal& axis : triad)
            for (Reading& reading : axis.readings)
                if (reading.t_s > from_s) change(reading.value);
    };
    struct Case {
        const char* what;
        std::function<void(ChargeRecord&)> spoil;
        SensorState accelerometer;
        double turned_rad;
    };
    const auto cases = {Case{"the whole record", [](ChargeRecord&) {}, SensorState::well, kRoll_rad},
                        Case{"the accelerometer inverted from the charge on",
                             [&](ChargeRecord& r) { every(r.accel_mps2, 0.01, [](double& value) { value = -value; }); },
                             SensorState::inverted, kRoll_rad},
                        Case{"a gap in the gyro's readings",
                             [](ChargeRecord& r) {
                                 for (Signal& axis : r.rate_radps)
                                     std::erase_if(axis.readings,
                                                   [](const Reading& at) { return at.t_s > 0.05 && at.t_s < 0.2; });
                             },
                             SensorState::unknown, kNone},
                        Case{"the gyro at its range",
                             [&](ChargeRecord& r) {
                                 r.gyro_range_radps = 12;
                                 every(r.rate_radps, 0, [](double& value) { value = std::clamp(value, -12.0, 12.0); });
                             },
                             SensorState::unknown, NAN},
                        Case{"the gyro stuck from the charge on",
                             [&](ChargeRecord& r) { every(r.rate_radps, 0.01, [](double& value) { value = 0; }); },
                             SensorState::unknown, kNone},
                        Case{"no gyro", [](ChargeRecord& r) { r.rate_radps = {}; }, SensorState::unknown, kNone}};
    sim::Random random(11, "rolled over");
    const ChargeRecord whole = rolled_over(kRoll_rad, random);
    for (const Case& each : cases) {
        INFO(each.what);
        ChargeRecord record = whole;
        each.spoil(record);
        const ChargeFindings found = analyse(record);
        CHECK(word(found.accelerometer.state) == word(each.accelerometer));
        CHECK(found.accelerometer.alive() == kYes);
        if (each.turned_rad == kRoll_rad)
            CHECK(found.payload_turned_rad.value == Approx(kRoll_rad).margin(0.1));
        else
            CHECK(std::isnan(found.payload_turned_rad.value));
    }
    ChargeRecord stuck = whole;
    every(stuck.rate_radps, 0.01, [](double& value) { value = 0; });
    CHECK(analyse(stuck).gyro.alive() == kNo);
}

TEST_CASE("a dead or stuck inertial sensor says neither that the lid came off nor that it did not") {
    for (const double repeated : {0.0, 0.31}) {
        INFO("repeats " << repeated);
        sim::Random random(12, "stuck");
        ChargeRecord record;
        record.fired_s = 0;
        record.fired_sigma_s = 1e-3;
        record.until_s = 8;
        record.accel_range_mps2 = 156.9;
        const auto fill = [&](Signal& signal, double from_s, double until_s, double step_s, double noise) {
            for (double t_s = from_s; t_s < until_s; t_s += step_s)
                signal.readings.push_back({t_s, t_s > 0 ? repeated : noise * random.normal()});
        };
        fill(record.burst_axial_mps2, -0.05, 0.25, 0.001, 0.5);
        fill(record.burst_turn_radps, -0.05, 0.25, 0.001, 0.01);
        for (Signal& axis : record.accel_mps2) fill(axis, -6, 8, 0.005, 0.25);
        for (Signal& axis : record.rate_radps) fill(axis, -6, 8, 0.005, 0.004);
        const ChargeFindings found = analyse(record);
        for (const double seen : {found.lid_off_seen, found.line_taut_seen, found.settled_seen, found.saturated,
                                  found.shock_mps2.value, found.turn_rate_radps.value, found.payload_turned_rad.value})
            CHECK(std::isnan(seen));
        CHECK(found.accelerometer.state == SensorState::stuck);
        CHECK(found.gyro.alive() == kNo);
    }
}

TEST_CASE("nothing is found where nothing happened, and nothing is said where nothing was received") {
    ChargeRecord record;
    record.fired_s = 0;
    record.fired_sigma_s = 1e-3;
    record.until_s = 8;
    sim::Random random(1, "nothing");
    for (double t_s = -6; t_s < 8; t_s += 0.005) record.accel_mps2[0].readings.push_back({t_s, 0.25 * random.normal()});
    for (double t_s = -6; t_s < 8; t_s += 0.04)
        record.pressure_pa.readings.push_back({t_s, 90000 + 6 * random.normal()});
    const ChargeFindings quiet = analyse(record);
    CHECK(quiet.pulse_seen == kNo);
    CHECK(quiet.lid_off_seen == kNo);
    CHECK(quiet.line_taut_seen == kNo);
    CHECK(std::isnan(quiet.lid_off_s.value));
    CHECK(quiet.barometer.state == SensorState::well);
    for (Signal* signal : {record.accel_mps2.data(), &record.pressure_pa})
        std::erase_if(signal->readings, [](const Reading& reading) { return reading.t_s > -0.1 && reading.t_s < 0.4; });
    const ChargeFindings silent = analyse(record);
    CHECK(std::isnan(silent.pulse_seen));
    CHECK(std::isnan(silent.lid_off_seen));
    CHECK(std::isnan(silent.line_taut_seen));
    CHECK(analyse({}).readings == 0);
}
