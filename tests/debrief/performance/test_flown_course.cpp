// A flight's motion against the air, by hand: what fixes say of the way across, the wind that drift under a parachute
// shows, and what neither may be off by.
#include <catch2/catch.hpp>

#include <cmath>
#include <functional>

#include "server/debrief/performance/flown_course.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::debrief;

namespace {

constexpr double kUpSigma_mps = 0.2, kAcrossSigma_mps = 0.3;
constexpr double kSound_mps = 340, kSoundSigma_mps = 3;

/// Wind from the west, known but for its gusts.
Site site(double wind_mps) {
    Site out;
    out.wind = {{0, wind_mps, 270}};
    out.forecast.wind_speed_relative = out.forecast.wind_from_deg = 0;
    out.forecast.wind_speed_mps = 2;
    return out;
}

SmoothedSeries series(const char* key, double sigma, double until_s, const std::function<double(double)>& value_at) {
    SmoothedSeries out{key, key, "", 1, {}, {}, {}, {}, {}};
    for (int step = 0; step <= std::lround(until_s / 0.1); ++step) {
        out.t_ns.push_back(step * (kNsPerS / 10));
        out.value.push_back(value_at(0.1 * step));
        out.sigma.push_back(sigma);
    }
    out.filter_value = out.value;
    out.filter_sigma = out.sigma;
    return out;
}

/// Up with 100 m/s, past the ground with 30 m/s to the east.
std::vector<SmoothedSeries> climb() {
    return {series(
                "altitude_m", 1, 2, [](double t_s) { return 400 + 100 * t_s; }),
            series(
                "vertical_speed_mps", kUpSigma_mps, 2, [](double) { return 100; }),
            series(
                "velocity_east_mps", kAcrossSigma_mps, 2, [](double) { return 30; }),
            series(
                "velocity_north_mps", kAcrossSigma_mps, 2, [](double) { return 0; })};
}

/// The recorded speed against the air has a vertical part of 102 m/s, where vertical motion had 100.
RecordedAir recorded() {
    const std::vector<double> t_s{0, 0.4, 0.8, 1.2, 1.6, 2};
    const auto all = [&](double value) { return RowsOfColumn{t_s, std::vector<double>(t_s.size(), value)}; };
    return {.mach = all(std::hypot(102, 25) / kSound_mps),
            .mach_sigma = all(kSoundSigma_mps / kSound_mps),
            .speed_of_sound_mps = all(kSound_mps),
            .density_kg_m3 = all(1.1),
            .up_mps = all(100)};
}

} // namespace

TEST_CASE("the speed against the air is the smoothed one against the wind, and as well known as both") {
    const estimate::DayAtmosphere day({});
    const estimate::WindProfile wind(site(5));
    const analysis::Course course = course_of(climb(), day, wind, 0, recorded());
    REQUIRE(course.t_s.size() == 21);
    CHECK(course.speed_mps[10] == Approx(std::hypot(100, 25))); // not what two filters differed by
    CHECK(course.mach[10] == Approx(std::hypot(100, 25) / kSound_mps));
    const double up = 100 * std::hypot(kUpSigma_mps, analysis::kAirRises_mps),
                 across = 25 * std::hypot(kAcrossSigma_mps, wind.sigma_mps(500));
    CHECK(course.speed_sigma_mps[10] == Approx(std::hypot(up, across) / std::hypot(100, 25)));
    CHECK(course.density_sigma[10] == Approx(day.scale_sigma(500)));
    CHECK(course.density_kg_m3[10] == Approx(1.1));
}

TEST_CASE("without fixes, or with a wind that nobody knows, the speed is as well known as the recorded one") {
    const estimate::DayAtmosphere day({});
    auto without_fixes = climb();
    without_fixes.resize(2);
    const double expected_mps = std::sqrt(102 * 102 + 25 * 25);
    const analysis::Course course = course_of(without_fixes, day, estimate::WindProfile(site(5)), 0, recorded());
    CHECK(course.speed_mps[10] == Approx(expected_mps));
    CHECK(course.speed_sigma_mps[10] == Approx(kSoundSigma_mps));
    const analysis::Course calm = course_of(climb(), day, estimate::WindProfile(Site{}), 0, recorded());
    CHECK(calm.speed_mps[10] == Approx(expected_mps));
    CHECK(course_of({}, day, estimate::WindProfile(site(5)), 0, recorded()).t_s.empty());
}

TEST_CASE("drift under a parachute tells of the wind once the vehicle's own way has gone") {
    // From 1000 m with 19.6 m/s, so that 2 s lie between the wind and what hangs in it; it came out with 25 m/s across
    // a wind of 8 m/s from the west, where 5 m/s were forecast.
    const double fall_mps = 2 * kGravityStandard_mps2;
    const auto descent = std::vector{
        series("altitude_m", 1, 40, [&](double t_s) { return 1000 - fall_mps * t_s; }),
        series("vertical_speed_mps", kUpSigma_mps, 40, [&](double) { return -fall_mps; }),
        series("velocity_east_mps", kAcrossSigma_mps, 40, [](double t_s) { return 8 + 25 * std::exp(-t_s / 2); }),
        series("velocity_north_mps", kAcrossSigma_mps, 40, [](double) { return 0; })};
    PerformanceRecord events;
    events.parachute_out_s = {0, analysis::kNone};
    events.touchdown_s = 40;
    const estimate::WindProfile wind = wind_by_drift(site(5), descent, 0, events);
    for (const double height_m : {300.0, 600.0, 900.0}) {
        INFO(height_m);
        CHECK(wind.at(height_m).x() == Approx(8).margin(0.3));
        CHECK(wind.at(height_m).y() == Approx(0).margin(0.1));
        CHECK(wind.sigma_mps(height_m) < estimate::WindProfile(site(5)).sigma_mps(height_m));
    }
    // Nothing came out: the forecast holds.
    events.parachute_out_s = {analysis::kNone, analysis::kNone};
    CHECK(wind_by_drift(site(5), descent, 0, events).at(600).x() == Approx(5));
}
