// The pictures of what decided a check, against figures that the recording holds.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/report/report.hpp"
#include "tests/report/drawn_paths.hpp"
#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using namespace turnstone::report_test;
using Catch::Contains;

namespace {

/// The drawings of the chapter "Evidence", each with the title of its check.
std::vector<std::pair<std::string, std::string>> strips_in(const std::string& page) {
    std::vector<std::pair<std::string, std::string>> strips;
    std::size_t at = page.find("<h2>Evidence");
    if (at == std::string::npos) return strips;
    const std::size_t end = page.find("<h2", at + 1);
    while ((at = page.find("<svg", at)) < end) {
        const std::string svg = page.substr(at, page.find("</svg>", at) - at);
        const std::size_t title = svg.find('>', svg.find("<text class=\"title\"")) + 1;
        strips.emplace_back(svg.substr(title, svg.find('<', title) - title), svg);
        ++at;
    }
    return strips;
}

std::string strip_of(const std::string& page, const std::string& title) {
    for (const auto& [name, svg] : strips_in(page))
        if (name == title) return svg;
    FAIL("no strip of " + title);
    return "";
}

/// From heights on paper back to values, by the two limits of the strip.
struct Heights {
    double y_least, y_most, least, most;
    [[nodiscard]] double value(double y) const { return least + (y - y_least) / (y_most - y_least) * (most - least); }
};
Heights heights_of(const std::string& svg, double least, double most) {
    const auto first = path_of(svg, "limit");
    const auto second = path_of(svg.substr(svg.find("<path class=\"limit\"") + 1), "limit");
    REQUIRE(first.size() == 2);
    REQUIRE(second.size() == 2);
    return {first[0].y, second[0].y, least, most};
}

std::string page_of_evidence(HandMade& made, const test::TemporaryFolder& folder, double end_s,
                             const std::string& name) {
    const auto page = report_page(made.record(folder, end_s));
    INFO((page ? "" : page.error().message));
    REQUIRE(page);
    CHECK(is_well_formed(*page));
    for (const char* never : {"nan", "inf\"", "-0.0 "}) CHECK(page->find(never) == std::string::npos);
    test::write_file(test::build_path("reports") / (name + ".html"), *page);
    return *page;
}

// Of a drawing 688 wide: its pane, and 0 s, ten seconds behind the start of fifteen.
constexpr double kLeft = 156, kRight = 684;
constexpr double kDecidedAt = kLeft + (kRight - kLeft) * 10 / 15;

} // namespace

TEST_CASE("a check of a ground test is drawn about the moment it was decided, with its limits and its extremes") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("Separation test", "Look.")}}));
    add_ground_test(made, 1, 0.02);
    // The step that decides is done at 38 s. The battery falls from 8.2 V to 7.78 V at 35 s; a kilohertz of readings of
    // "level", which fails then, has one spike of 3 m/s² and one of -2 m/s².
    for (double t = 1; t < 60; ++t) made.row("sanderling/health", t, {{"battery_voltage", t < 35 ? 8.2 : 7.78}});
    for (int ms = 20'000; ms < 55'000; ++ms)
        made.row("sanderling/imu.samples", 1e-3 * ms,
                 {{"accel_body_y", ms == 33'333 ? 3.0 : (ms == 36'001 ? -2.0 : 0.1)}});
    const std::string page = page_of_evidence(made, folder, 60, "evidence");
    std::vector<std::string> titles;
    for (const auto& [title, svg] : strips_in(page)) titles.push_back(title);
    // Not of what a person confirms, and not of a figure that is there once.
    CHECK(titles == std::vector<std::string>{"Battery, least", "Level"});

    const std::string battery = strip_of(page, "Battery, least");
    CHECK_THAT(battery, Contains(">least 7.4\u00a0V<") && Contains(">7.78\u00a0V<") && Contains(">holds 14:32:43<"));
    const auto mark = path_of(battery, "edge");
    REQUIRE(mark.size() == 2);
    CHECK(mark[0].x == Approx(kDecidedAt).margin(0.06));
    const auto line = path_of(battery, "line s1");
    REQUIRE(line.size() == 15); // a reading a second, from ten before to less than five after
    CHECK(line.front().x == Approx(kLeft).margin(0.06));
    // What lies between the two levels and the limit is in proportion: (8.2 - 7.78) of (8.2 - 7.4).
    const double limit_y = path_of(battery, "limit")[0].y;
    CHECK((line.back().y - line.front().y) / (limit_y - line.front().y) == Approx(0.42 / 0.8).margin(0.01));
    // It fell at 35 s, three before.
    const auto fell = std::ranges::find_if(line, [&](const Corner& corner) { return corner.y > line.front().y + 1; });
    CHECK(fell->x == Approx(kDecidedAt - 3 * (kRight - kLeft) / 15).margin(0.06));

    const std::string level = strip_of(page, "Level");
    CHECK_THAT(level, Contains(">least −0.25\u00a0m/s²<"));
    CHECK_THAT(level, Contains(">fails 14:32:43<") && Contains(">0.31\u00a0m/s²<"));
    const Heights heights = heights_of(level, -0.25, 0.25);
    const auto drawn = path_of(level, "line s1");
    CHECK(drawn.size() >= 399); // fifteen thousand, drawn as four hundred
    CHECK(drawn.size() <= 401);
    const auto band = path_of(level, "b1");
    REQUIRE(band.size() == 2 * drawn.size());
    const auto [top, foot] = std::ranges::minmax_element(band, {}, &Corner::y);
    CHECK(heights.value(top->y) == Approx(3.0).margin(0.1)); // a tenth of a unit of the drawing is 0.01 m/s²
    CHECK(heights.value(foot->y) == Approx(-2.0).margin(0.1));
    CHECK(heights.value(drawn.front().y) == Approx(0.1).margin(0.1));
    CHECK(page.size() < 300'000);
}

TEST_CASE("a reading that is beyond its limit is drawn about the moment it went there") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup(
        {{"readiness.json", nlohmann::json{{"groups",
                                            {{{"title", "Vehicle"},
                                              {"checks",
                                               {{{"id", "battery"},
                                                 {"title", "Battery"},
                                                 {"value", {{"table", "health"}, {"column", "battery_voltage"}}},
                                                 {"least", 7.6},
                                                 {"most", 8.6}}}}}}},
                                           {"positions", {{{"id", "weather"}, {"title", "Weather"}}}}}
                                .dump()}}));
    using enum EventId;
    for (double t = 1; t < 100; ++t) made.row("sanderling/health", t, {{"battery_voltage", t < 40 ? 8.0 : 7.5}});
    made.event(poll_asked, 5, {{"position", std::string("weather")}, {"title", std::string("Weather")}}, "weather");
    made.event(check_decided, 40,
               {{"check", std::string("battery")},
                {"title", std::string("Battery")},
                {"state", std::string("fails")},
                {"measured", 7.5},
                {"margin", -0.1},
                {"required", std::string("7.6 to 8.6 V")},
                {"unit", std::string("V")}},
               "readiness/battery");
    const std::string page = page_of_evidence(made, folder, 100, "evidence-poll");
    const std::string battery = strip_of(page, "Battery");
    CHECK_THAT(battery, Contains(">fails 14:32:45<") && Contains(">7.50\u00a0V<") && Contains("7.6 to 8.6 V"));
    const Heights heights = heights_of(battery, 7.6, 8.6);
    const auto line = path_of(battery, "line s1");
    REQUIRE(line.size() == 15);
    CHECK(heights.value(line.front().y) == Approx(8.0).margin(0.02));
    CHECK(heights.value(line.back().y) == Approx(7.5).margin(0.02));
    CHECK(path_of(battery, "edge")[0].x == Approx(kDecidedAt).margin(0.06));
}

// Thrust of nine g is a hundred times what the check lets an accelerometer at rest be off; the liftoff that closes the
// check is dated a few hundredths of a second late, as it may be.
TEST_CASE("what was decided before liftoff is drawn at the scale of the rail, not of the boost") {
    const test::TemporaryFolder folder;
    const nlohmann::json board{{"groups",
                                {{{"title", "Sensors"},
                                  {"checks",
                                   {{{"id", "along"},
                                     {"title", "Along"},
                                     {"value", {{"table", "imu.samples"}, {"column", "accel_body_x"}}},
                                     {"least", 9.3},
                                     {"most", 10.3}}}}}}},
                               {"positions", {{{"id", "weather"}, {"title", "Weather"}}}}};
    HandMade made(demo_setup({{"readiness.json", board.dump()}}));
    using enum EventId;
    constexpr double kLiftoff = 40, kFound = kLiftoff + 0.04;
    for (int i = 0; i < 10'000; ++i) {
        const double t = 1 + 0.005 * i;
        made.row("sanderling/imu.samples", t, {{"accel_body_x", t < kLiftoff ? 9.8 + 0.1 * (i % 2) : 90}});
    }
    made.event(poll_asked, 5, {{"position", std::string("weather")}, {"title", std::string("Weather")}}, "weather");
    made.event(check_decided, 6,
               {{"check", std::string("along")},
                {"title", std::string("Along")},
                {"state", std::string("holds")},
                {"measured", 9.8},
                {"margin", 0.5},
                {"unit", std::string("m/s2")}},
               "readiness/along");
    made.event(readiness_at_liftoff, kFound, {{"ready", false}, {"reasons", std::vector<std::string>{"Weather"}}});
    const std::string along = strip_of(page_of_evidence(made, folder, 51, "evidence-liftoff"), "Along");
    const Heights heights = heights_of(along, 9.3, 10.3);
    CHECK(heights.y_least - heights.y_most > 33); // half of the strip, which is 66 high
    const auto line = path_of(along, "line s1");
    CHECK(heights.value(line.front().y) == Approx(9.85).margin(0.06));
    for (const Corner& corner : line) {
        CHECK(corner.y >= 16); // the strip's own place, and no neighbour's
        CHECK(corner.y <= 16 + 66);
    }
    CHECK(line.back().y < heights.y_most); // the boost leaves it upwards
}

// Normal gravity at the demo's pad after the gravity formula of GRS 80 (Moritz, Journal of Geodesy 74, 2000, 128 to
// 133): 9.780327 (1 + 0.0053024 sin²φ - 0.0000058 sin²2φ) m/s², less 3.086e-6 /s² times the height; φ = -21.385°.
TEST_CASE("the length of a vector is drawn against gravity") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup(
        {{"procedures/bench.json",
          nlohmann::json{
              {"title", "Bench"},
              {"checks",
               {{{"id", "gravity"},
                 {"title", "Gravity"},
                 {"value", {{"table", "imu.samples"}, {"columns", {"accel_body_x", "accel_body_y", "accel_body_z"}}}},
                 {"measure", "mean"},
                 {"over_s", 2},
                 {"from", {{"reference", "gravity"}}},
                 {"within", 0.5}}}},
              {"steps", {{{"id", "rest"}, {"kind", "check"}, {"title", "Rest"}, {"checks", {"gravity"}}}}}}
              .dump()}}));
    using enum EventId;
    const auto of_bench = [](EventValues more) {
        more.insert(more.begin(), {"procedure", std::string("bench")});
        return more;
    };
    made.event(procedure_begun, 2, of_bench({{"title", std::string("Bench")}, {"by", std::string("KL")}, {"run", 1.0}}),
               "bench");
    made.event(check_decided, 5,
               of_bench({{"check", std::string("gravity")}, {"state", std::string("holds")}, {"measured", 0.2}}),
               "gravity");
    made.event(step_done, 20, of_bench({{"step", std::string("rest")}, {"title", std::string("Rest")}}), "bench");
    // (0, 6, 8) is 10 long, (6, 0, 7) is √85 = 9.2195.
    for (int i = 0; i < 8000; ++i)
        made.row("sanderling/imu.samples", 1 + 0.005 * i,
                 {{"accel_body_x", i == 3000 ? 6 : 0},
                  {"accel_body_y", i == 3000 ? 0 : 6},
                  {"accel_body_z", i == 3000 ? 7 : 8}});
    const std::string page = page_of_evidence(made, folder, 60, "evidence-vector");
    const std::string gravity = strip_of(page, "Gravity");
    CHECK_THAT(gravity, Contains(">holds 14:32:25<"));
    const double phi = made.setup().site.pad.latitude_deg * std::numbers::pi / 180;
    const double g =
        9.780327 * (1 + 0.0053024 * std::pow(std::sin(phi), 2) - 0.0000058 * std::pow(std::sin(2 * phi), 2)) -
        3.086e-6 * made.setup().site.pad.height_m;
    const Heights heights = heights_of(gravity, g - 0.5, g + 0.5);
    const auto line = path_of(gravity, "line s1");
    CHECK(line.size() <= 401);
    CHECK(heights.value(line.front().y) == Approx(10).margin(0.02));
    const auto band = path_of(gravity, "b1");
    REQUIRE_FALSE(band.empty());
    CHECK(heights.value(std::ranges::max_element(band, {}, &Corner::y)->y) == Approx(9.2195).margin(0.02));
}

TEST_CASE("the shape of a pulse is drawn about its event, with the limit over the mean before it") {
    const test::TemporaryFolder folder;
    const nlohmann::json pulse{{"id", "pulse"},
                               {"title", "Pulse"},
                               {"value", {{"table", "baro"}, {"column", "static_pressure"}}},
                               {"measure", "peak"},
                               {"after", {{"event", "charge_fired"}, {"about", "drogue"}}},
                               {"baseline_s", 2},
                               {"within_s", 3},
                               {"least", 500},
                               {"most", 2500}};
    const nlohmann::json procedure{
        {"title", "Bench"},
        {"checks", {pulse}},
        {"steps", {{{"id", "fire"}, {"kind", "check"}, {"title", "Fire"}, {"checks", {"pulse"}}}}}};
    HandMade made(demo_setup({{"procedures/bench.json", procedure.dump()}}));
    using enum EventId;
    made.event(procedure_begun, 2, {{"procedure", std::string("bench")}, {"title", std::string("Bench")}, {"run", 1.0}},
               "bench");
    made.event(charge_fired, 10, {{"charge", std::string("main")}}, "main");
    made.event(charge_fired, 30, {{"charge", std::string("drogue")}}, "drogue");
    made.event(check_decided, 33,
               {{"procedure", std::string("bench")},
                {"check", std::string("pulse")},
                {"state", std::string("holds")},
                {"measured", 2000.0}},
               "bench/pulse");
    made.event(charge_fired, 50, {{"charge", std::string("drogue")}}, "drogue"); // after the decision
    for (int i = 0; i < 1500; ++i) {
        const double t = 1 + 0.04 * i;
        made.row("sanderling/baro", t, {{"static_pressure", t > 31 && t < 31.5 ? 92'000 : 90'000}});
    }
    const std::string page = page_of_evidence(made, folder, 60, "evidence-pulse");
    const std::string svg = strip_of(page, "Pulse");
    CHECK_THAT(svg, Contains(">charge fired<") && Contains(">holds 14:32:38<") && Contains(">least 905\u00a0hPa<") &&
                        Contains(">most 925\u00a0hPa<"));
    // From two seconds before to three after, with 0.15 of five on either side.
    const double per_s = (kRight - kLeft) / 6.5;
    const auto fired = path_of(svg, "edge");
    const auto decided = path_of(svg.substr(svg.find("class=\"edge\"") + 1), "edge");
    REQUIRE(fired.size() == 2);
    REQUIRE(decided.size() == 2);
    CHECK(fired[0].x == Approx(kLeft + 2.75 * per_s).margin(0.06));
    CHECK(decided[0].x == Approx(kLeft + 5.75 * per_s).margin(0.06));
    const Heights heights = heights_of(svg, 500, 2500);
    const auto line = path_of(svg, "line s1");
    CHECK(line.size() == 162); // 6.5 s at 25 a second
    CHECK(heights.value(line.front().y) == Approx(0).margin(10));
    CHECK(heights.value(std::ranges::min_element(line, {}, &Corner::y)->y) == Approx(2000).margin(10));
}

TEST_CASE("a comparison of two columns, and a gap, are drawn as the check measured them") {
    const test::TemporaryFolder folder;
    const nlohmann::json board{
        {"groups",
         {{{"title", "Vehicle"},
           {"checks",
            {{{"id", "agree"},
              {"title", "Die − air"},
              {"value", {{"table", "imu"}, {"column", "imu_temperature"}}},
              {"from", {{"reference", "pad_temperature"}}},
              {"measure", "spread"},
              {"over_s", 5},
              {"most", 3}},
             {{"id", "gap"}, {"title", "Longest gap"}, {"gap", {{"table", "imu.samples"}}}, {"most", 1}},
             {{"id", "logging"},
              {"title", "Logging"},
              {"value", {{"table", "health"}, {"column", "storage_ok"}}},
              {"least", 1},
              {"most", 1}}}}}}},
        {"positions", {{{"id", "weather"}, {"title", "Weather"}}}}};
    HandMade made(demo_setup({{"readiness.json", board.dump()}}));
    made.event(EventId::poll_asked, 5, {{"position", std::string("weather")}, {"title", std::string("Weather")}},
               "weather");
    for (double t = 1; t <= 30; ++t)
        made.row("sanderling/readiness", t,
                 {{"agree", t < 25 ? 1.0 : 2.0},
                  {"agree_margin", 1},
                  {"agree_state", 1},
                  {"gap", 0.25},
                  {"gap_margin", 0.75},
                  {"gap_state", 1},
                  {"logging", 1},
                  {"logging_state", 1},
                  {"ready", 0}});
    const std::string page = page_of_evidence(made, folder, 30, "evidence-measured");
    const std::string agree = strip_of(page, "Die − air");
    // A difference has no zero on the Celsius scale, in the table neither.
    CHECK(page.find("\u00a0°C") == std::string::npos);
    CHECK_THAT(agree, Contains(">most 3\u00a0K<") && Contains(">2.0\u00a0"));
    const auto line = path_of(agree, "line s1");
    REQUIRE(line.size() == 11);
    const double limit_y = path_of(agree, "limit")[0].y;
    CHECK((line.front().y - limit_y) / (line.back().y - limit_y) == Approx(2).margin(0.05)); // 3 - 1 over 3 - 2
    CHECK_THAT(strip_of(page, "Longest gap"), Contains(">250\u00a0ms<") && Contains(">most 1000\u00a0ms<"));
    CHECK(page.find(">Logging</text>") == std::string::npos); // yes and no are words
}
