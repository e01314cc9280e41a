// The course that the files promise, against the simulator's flight of the same files: six degrees of freedom, with its
// own air, thrust, drag and parachutes.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

#include "server/debrief/comparison/predicted_course.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/trials/recorded_flight.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;

TEST_CASE("the course by the files is the simulator's of a flight without scatter") {
    sim::Scenario scenario = trials::trial_scenario("nominal", "clean");
    scenario.disperse = false;
    const sim::Truth truth = sim::fly_sensors(scenario, 1).truth;
    const Site& site = scenario.site;
    estimate::PadReference pad;
    pad.height_msl_m = site.pad.height_m - site.geoid_height_m;
    pad.latitude_deg = site.pad.latitude_deg;
    pad.pressure_pa = truth.samples.front().pressure_pa;
    pad.temperature_k = truth.samples.front().temperature_k;
    const debrief::PredictedCourse course = debrief::course_by_files(
        *scenario.vehicle.rocket, site, estimate::DayAtmosphere(pad), estimate::WindProfile(site));
    CHECK(course.apogee_s == Approx(truth.events.apogee_s - truth.events.ignition_s).margin(0.3));
    CHECK(course.burnout_s == Approx(truth.events.burnout_s - truth.events.ignition_s).margin(0.01));
    REQUIRE(course.drogue_out_s);
    CHECK(*course.drogue_out_s == Approx(truth.events.ejections.front().t_s - truth.events.ignition_s).margin(0.3));
    int compared = 0;
    for (const sim::TruthSample& sample : truth.samples) {
        const double t_s = sample.t_s - truth.events.ignition_s;
        const double place = t_s * 10;
        if (t_s < 0.5 || std::abs(place - std::round(place)) > 1e-6 || sample.t_s > truth.events.touchdown_s) continue;
        const auto i = static_cast<std::size_t>(std::round(place));
        if (i >= course.t_s.size()) break;
        INFO("T+" << t_s << ", predicted " << course.altitude_m[i] << " of " << sample.position_enu_m.z());
        const bool climbs = sample.t_s < truth.events.apogee_s;
        // 1.5 % of the apogee on the way up; on the way down fills and swings add up to seconds.
        CHECK(std::abs(course.altitude_m[i] - sample.position_enu_m.z()) <
              (climbs ? 0.015 : 0.05) * truth.events.apogee_m);
        CHECK(course.altitude_sigma_m[i] > 0);
        if (climbs) CHECK(std::abs(course.vertical_speed_mps[i] - sample.velocity_enu_mps.z()) < 5);
        ++compared;
    }
    CHECK(compared > 200);
    // Motor to motor 3 % of impulse, 10 % of drag: some tens of metres of apogee.
    const auto top = static_cast<std::size_t>(std::round(10 * course.apogee_s));
    CHECK(course.altitude_sigma_m[top] > 0.02 * truth.events.apogee_m);
    CHECK(course.altitude_sigma_m[top] < 0.12 * truth.events.apogee_m);
}

TEST_CASE("a wind that the files do not say spoils the prediction more than the flight simulated afterwards") {
    sim::Scenario scenario = trials::trial_scenario("nominal", "clean", "ideal");
    scenario.disperse = false;
    for (WindLayer& layer : scenario.site.wind) layer.speed_mps *= 3; // the recording's site file knows nothing of it
    const sim::FlightResult flown = sim::fly(scenario, 1);
    const test::TemporaryFolder folder;
    (void)debrief_test::recorded_flight(folder.path(), "2026-05-29-1", flown);
    const auto opened = debrief::open_flight({folder.path()}, "2026-05-29-1~sanderling~1");
    REQUIRE(opened);
    const auto predicted = debrief::predicted_course(**opened), simulated = debrief::simulated_course(**opened);
    REQUIRE(predicted);
    REQUIRE(simulated);
    const double apogee_m = flown.truth.events.apogee_m;
    const auto off_m = [&](const debrief::PredictedCourse& course) {
        return std::ranges::max(course.altitude_m) - apogee_m;
    };
    INFO("apogee " << apogee_m << ", prediction " << off_m(*predicted) << ", simulated " << off_m(*simulated));
    CHECK(off_m(*predicted) > 0.04 * apogee_m);
    // What is left is how well a descent tells of the wind in which the vehicle climbed.
    CHECK(std::abs(off_m(*simulated)) < 0.5 * off_m(*predicted));
}
