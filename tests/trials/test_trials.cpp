// Whole flights, from the transmitter's bytes to the estimates, against the simulator's truth (why that is
// evidence: tools/trials/trial.hpp). TURNSTONE_FLIGHTS=500 flies the full set, and then the fractions over all
// checkpoints are held to the limits themselves. At one checkpoint chance alone moves the fraction of 500 by more
// than one per cent.
#include <catch2/catch.hpp>

#include <cmath>
#include <cstdlib>

#include "tools/trials/cells.hpp"
#include "tools/trials/trial.hpp"
#include "tools/trials/trial_case.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

int flights() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : 24;
}

struct Fraction {
    int hits = 0, all = 0;
    void add(bool hit) {
        hits += hit;
        ++all;
    }
};

/// The fraction of hits lies within the limits, or as far outside as chance allows for so few (3.5 sigma of the
/// binomial).
void check_fraction(const std::string& what, const Fraction& fraction, double low, double high) {
    const double found = static_cast<double>(fraction.hits) / fraction.all;
    const double chance = 3.5 * std::sqrt(low * (1 - low) / fraction.all);
    UNSCOPED_INFO(what << ": " << fraction.hits << " of " << fraction.all);
    CHECK(found >= low - chance);
    CHECK(found <= high + chance);
}

/// The full set is held to the limits themselves.
void check_full_set(const Fraction& fraction, double low, double high) {
    const double found = static_cast<double>(fraction.hits) / fraction.all;
    CHECK((flights() < 500 || (found >= low && found <= high)));
}

} // namespace

TEST_CASE("predictions hold the truth as often as they say, and are close two seconds after burnout") {
    const auto scores = run_trials(trial_scenario("nominal", "clean"), 1, flights());
    Fraction apogees;
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto checkpoint = static_cast<Checkpoint>(k);
        Fraction apogee, landing;
        double worst = 0;
        for (const TrialScore& score : scores) {
            const PredictionScore& p = score.predictions[k];
            if (checkpoint < Checkpoint::apogee) {
                REQUIRE(std::isfinite(p.apogee_error_m));
                apogee.add(p.apogee_inside);
                apogees.add(p.apogee_inside);
                worst = std::max(worst, std::abs(p.apogee_error_m) / score.true_apogee_m);
            }
            REQUIRE(std::isfinite(p.miss_m));
            landing.add(p.landing_inside);
        }
        if (checkpoint < Checkpoint::apogee) check_fraction("apogee, " + to_string(checkpoint), apogee, 0.85, 0.95);
        if (checkpoint >= Checkpoint::apogee) {
            check_fraction("landing, " + to_string(checkpoint), landing, 0.90, 0.98);
            check_full_set(landing, 0.90, 0.98);
        }
        if (checkpoint == Checkpoint::two_after_burnout) CHECK(worst < 0.03);
    }
    check_full_set(apogees, 0.85, 0.95);
}

TEST_CASE("where a vehicle without a parachute comes down is said before it falls") {
    const auto scores = run_trials(trial_scenario("ballistic", "clean"), 1, 4);
    for (const TrialScore& score : scores) {
        const auto of = [&](Checkpoint checkpoint) { return score.predictions[static_cast<std::size_t>(checkpoint)]; };
        CHECK(of(Checkpoint::apogee).miss_m < 120);
        CHECK(of(Checkpoint::apogee).landing_inside);
        CHECK(of(Checkpoint::ten_before_touchdown).miss_m < 120);
        CHECK_FALSE(score.of(EventId::drogue_out).happened);
        CHECK(score.of(EventId::drogue_out).found == 0);
    }
}

TEST_CASE("tethered charges are found and nothing flies") {
    const auto scores = run_trials(trial_scenario("separation-test", "clean"), 1, 4);
    for (const TrialScore& score : scores) {
        CHECK(score.charges == 2);
        CHECK(score.pressure_pulses == score.charges);
        CHECK(score.shocks >= score.charges);
        for (const FlightEventScore& event : score.flight_events) CHECK(event.found == 0);
    }
}

TEST_CASE("a flight that gives no answer counts as a miss, and a phase without an estimate as one without") {
    const auto scores = run_trials(scenario_of({.kit = "baro"}), 1, 1);
    const TrialScore& score = scores.front();
    CHECK(score.of(Quantity::long_axis, kAscent).lasted_s > 10);
    CHECK(score.of(Quantity::long_axis, kAscent).available() == 0);
    CHECK(score.of(Quantity::altitude, kAscent).available() > 0.9);
    TrialScore silent;
    silent.predictions[0].asked = true;
    CHECK(apogee_inside(Checkpoint::on_rail)({silent}) == "0.0 %");
    silent.predictions[0].apogee_inside = true;
    CHECK(apogee_inside(Checkpoint::on_rail)({silent, TrialScore{}}) == "100.0 %"); // the second was not asked
}

TEST_CASE("every kit and rate reaches the station, and gives an altitude where it measures pressure") {
    std::vector<TrialCase> cases;
    for (const Kit& kit : kits()) cases.push_back({.kit = std::string(kit.name)});
    for (const double hz : {1.0, 50.0}) cases.push_back({.kit = "baro", .pressure_hz = hz});
    cases.push_back({.kit = "all", .imu_hz = 10, .pressure_hz = 5, .batch = 5});
    for (const TrialCase& trial_case : cases) {
        INFO(trial_case.title());
        const sim::Scenario scenario = scenario_of(trial_case);
        const TrialScore score = run_trial(scenario, 1);
        CHECK(score.time_stamp_s.count > 50);
        CHECK(score.time_stamp_s.rms() < 0.05);
        if (scenario.telemetry.pressure_hz >= 2) CHECK(score.of(Quantity::altitude, kDescent).available() > 0.95);
    }
}
