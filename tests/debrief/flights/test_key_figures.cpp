/// Figures of a flight with invented numbers: what is expected follows from them by hand.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <map>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "server/debrief/flights/key_figures.hpp"
#include "server/debrief/flights/summary.hpp"
#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using namespace turnstone::debrief;
using report_test::HandMade;

namespace {

constexpr double kUnknownFigure = std::numeric_limits<double>::quiet_NaN();

struct Looked {
    std::vector<Figure> figures;
    nlohmann::json summary;
};

Looked look_at(HandMade& made) {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(made.record(folder, 120));
    REQUIRE(reader);
    const Recorded recorded(*reader);
    const auto chapters = chapters_in(recorded);
    REQUIRE(chapters.size() == 1);
    REQUIRE(chapters[0].liftoff_ns);
    return {key_figures(recorded, chapters[0]), summary_of(recorded, chapters[0])};
}

Figure figure(const Looked& looked, std::string_view key) {
    const auto found = std::ranges::find(looked.figures, key, &Figure::key);
    REQUIRE(found != looked.figures.end());
    return *found;
}

bool same(double a, double b) {
    return (std::isnan(a) && std::isnan(b)) || a == Approx(b).margin(1e-9);
}

} // namespace

TEST_CASE("the key figures of a flight, each with its sigma") {
    HandMade made(report_test::demo_setup());
    report_test::add_flight(made);
    using enum EventId;
    made.event(drogue_out, 20 + 15.6, {}, "", false, 0.1);
    made.event(main_out, 20 + 50, {}, "", false, 0.1);
    const Looked looked = look_at(made);
    struct Expected {
        const char* key;
        double value, sigma;
    };
    const Expected expected[] = {
        {"apogee_m", 1107.3, 2.1},
        {"apogee_s", 14.9, std::hypot(0.02, 0.1)},
        {"burnout_s", 1.85, std::hypot(0.02, 0.03)},
        {"maximum_speed_mps", 166.4, 1.7},
        {"maximum_acceleration_mps2", kUnknownFigure, kUnknownFigure},
        // Altitudes with 2 m each, from two seconds after the drogue came out to the main, and so to touchdown.
        {"drogue_rate_mps", 26.5, std::hypot(2, 2) / (50 - 17.6)},
        {"main_rate_mps", 7.1, std::hypot(2, 2) / (75 - 52)},
        {"landing_m", 75 * std::hypot(1.366, 0.667), 1.0},
        {"landing_deg", 180 - std::atan(1.366 / 0.667) * 180 / std::numbers::pi,
         1.0 / (75 * std::hypot(1.366, 0.667)) * 180 / std::numbers::pi},
        {"duration_s", 75, std::hypot(0.02, 0.4)},
        {"wind_mps", kUnknownFigure, kUnknownFigure},
    };
    for (const Expected& one : expected) {
        INFO(one.key);
        const Figure found = figure(looked, one.key);
        // Rows stand every tenth of a second, and a coordinate is stored to some millimetres.
        const bool near_value = std::isnan(one.value) ? std::isnan(found.value)
                                                      : found.value == Approx(one.value).epsilon(1e-4).margin(1e-3);
        const bool near_sigma =
            std::isnan(one.sigma) ? std::isnan(found.sigma) : found.sigma == Approx(one.sigma).epsilon(0.01);
        CHECK(near_value);
        CHECK(near_sigma);
    }
    // 176 m at 50 s, give or take 2 m and a tenth of a second of the fall there.
    const Figure main_altitude = figure(looked, "main_out_m");
    CHECK(main_altitude.value == Approx(176).margin(3));
    CHECK(main_altitude.sigma > 2);
    CHECK(main_altitude.sigma < 5);
    CHECK(figure(looked, "lost_share").value == Approx(240.0 / (240 + 60 * 75)).margin(0.002));
    const std::map<std::string_view, std::string_view> endings{
        {"m", "_m"}, {"s", "_s"}, {"m/s", "_mps"}, {"m/s2", "_mps2"}, {"deg", "_deg"}, {"{fraction}", "_share"}};
    for (const Figure& each : looked.figures) {
        INFO(each.key);
        CHECK(each.key.ends_with(endings.at(each.unit)));
    }
}

TEST_CASE("where a flight came down stays known when the vehicle is silent long before the recording ends") {
    HandMade made(report_test::demo_setup());
    report_test::add_flight(made);
    made.row("sanderling/estimate/last_place", 97, {{"east_m", 30}, {"north_m", 40}, {"horizontal_sigma_m", 2}});
    made.row("sanderling/estimate/navigation", 118, {}); // which says nothing after ten seconds of silence
    const Looked looked = look_at(made);
    CHECK(figure(looked, "landing_m").value == Approx(50).margin(0.01));
    CHECK(figure(looked, "landing_m").sigma == Approx(2).margin(0.01));
    CHECK(figure(looked, "landing_deg").value == Approx(std::atan2(30, 40) * 180 / std::numbers::pi).margin(0.01));
}

TEST_CASE("what was not measured is left out of the figures") {
    struct Case {
        const char* about;
        std::function<void(HandMade&)> make;
        std::vector<const char*> unknown;
    };
    using enum EventId;
    const auto derived = [](HandMade& made, double highest_s) {
        made.row("sanderling/estimate/derived", 110,
                 {{"altitude_max_m", 900}, {"altitude_max_m_sigma", 2}, {"altitude_max_t_s", highest_s}});
    };
    const Case cases[] = {
        {"the highest altitude was measured long before the apogee",
         [&](HandMade& made) {
             made.event(apogee, 30);
             derived(made, 12);
         },
         {"apogee_m", "landing_m", "landing_deg", "duration_s", "main_out_m", "drogue_rate_mps"}},
        {"no apogee", [&](HandMade& made) { derived(made, 12); }, {"apogee_m", "apogee_s", "duration_s"}},
        {"the main came out in silence",
         [&](HandMade& made) {
             made.row("sanderling/estimate/vertical", 40, {{"altitude_m", 300}, {"altitude_m_sigma", 2}});
             made.event(main_out, 60);
         },
         {"main_out_m", "main_rate_mps"}},
        {"presumed down",
         [&](HandMade& made) {
             made.row("sanderling/estimate/navigation", 60, {{"east_m", 30}, {"north_m", 40}});
             made.event(phase_began, 70, {{"phase", std::string("presumed down")}}, "presumed_down");
         },
         {"landing_m", "landing_deg", "duration_s"}},
    };
    for (const Case& one : cases) {
        INFO(one.about);
        HandMade made(report_test::demo_setup());
        made.event(liftoff, 10);
        one.make(made);
        const Looked looked = look_at(made);
        for (const char* key : one.unknown) {
            INFO(key);
            CHECK(std::isnan(figure(looked, key).value));
            CHECK(std::isnan(figure(looked, key).sigma));
        }
    }
    HandMade near_apogee(report_test::demo_setup());
    near_apogee.event(liftoff, 10);
    near_apogee.event(apogee, 30);
    derived(near_apogee, 19.5);
    CHECK(same(figure(look_at(near_apogee), "apogee_m").value, 900));
}

TEST_CASE("a line of the log book has the flight's curve, its phases and its gravest alert") {
    HandMade made(report_test::demo_setup());
    report_test::add_flight(made);
    using enum EventId;
    made.event(no_parachute, 36, {{"altitude_m", 900.0}, {"fall_rate_mps", 60.0}});
    made.event(sensor_silent, 40, {{"role", std::string("static_pressure")}}, "static_pressure");
    const nlohmann::json line = look_at(made).summary;
    CHECK(line["vehicle"] == "sanderling");
    CHECK(line["liftoff_s"] == 20.0);
    CHECK(line["duration_s"] == 75.0);
    CHECK(line["ended"] == "touchdown");
    CHECK(line["utc_liftoff_ns"] == std::to_string(report_test::kStart_ns + 20'000'000'000));
    CHECK(line["worst"]["level"] == "warning");
    const auto& curve = line["curve"];
    CHECK(curve["t_s"].size() == curve["altitude_m"].size());
    CHECK(curve["t_s"].size() <= 120);
    CHECK(curve["t_s"].size() > 60);
    double highest = 0;
    for (std::size_t i = 0; i < curve["t_s"].size(); ++i) {
        const double t_s = curve["t_s"][i];
        const auto& altitude = curve["altitude_m"][i];
        if (t_s > 33 && t_s < 34) CHECK(altitude.is_null()); // nothing was heard from 31 to 36 s
        if (!altitude.is_null()) highest = std::max(highest, altitude.get<double>());
    }
    CHECK(highest == Approx(1107).epsilon(0.01));
    CHECK(curve["phases"][0] == nlohmann::json{{"phase", "under thrust"}, {"from_s", 0.0}});
}
