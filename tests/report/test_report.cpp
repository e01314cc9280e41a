// Reports of recordings made by hand: what they say, and that nothing in a file gets out of its place on the page.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <numbers>
#include <string>

#include <nlohmann/json.hpp>

#include "server/record/read/received_hash.hpp"
#include "server/report/report.hpp"
#include "tests/report/drawn_paths.hpp"
#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using namespace turnstone::report_test;
using Catch::Contains;

namespace {

/// The text of a page as a person reads it: without tags, with plain spaces.
std::string read_out(const std::string& html) {
    std::string text;
    bool in_tag = false;
    for (const char c : html.substr(html.find("<body>"))) {
        if (c == '<') text += ' ';
        in_tag = c == '<' || (in_tag && c != '>');
        if (!in_tag && c != '>') text += c;
    }
    for (const std::string space : {"\u00a0", "\u202f", "  "})
        for (std::size_t at = 0; (at = text.find(space, at)) != std::string::npos;) text.replace(at, space.size(), " ");
    return text;
}

/// `name`: of the page that is left for a look, and for tests/browser/report.mjs, which prints it.
std::string page_of(const std::filesystem::path& file, const std::string& name) {
    const auto page = report_page(file);
    INFO((page ? "" : page.error().message));
    REQUIRE(page);
    CHECK(is_well_formed(*page));
    for (const char* never : {"<script", "http://", "https://", "nan", "inf\"", "-0.0 "}) {
        INFO(never);
        CHECK(page->find(never) == std::string::npos);
    }
    test::write_file(test::build_path("reports") / (name + ".html"), *page);
    return *page;
}

} // namespace

TEST_CASE("a flight's report says what it came to, against what was predicted") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup());
    add_flight(made);
    const auto file = made.record(folder, 101);
    const std::string text = read_out(page_of(file, "flight"));
    CHECK_THAT(text, Contains("Flight report") && Contains("Sanderling") && Contains("Lantern Flat") &&
                         Contains("Apogee 1107 ± 2 m AGL. Down 114 ± 1 m from the pad at 116°."));
    CHECK_THAT(text, Contains("Apogee AGL 1107 ± 2 m") && Contains("T+0:14.9") && Contains("Under drogue"));
    CHECK_THAT(text, Contains("Tilt at burnout 5.8 ± 0.8° T+0:01.8"));
    CHECK_THAT(text, Contains("1090 ± 50 m") && Contains("+20 ± 50 m") && Contains("1112 ± 9 m"));
    CHECK_THAT(text, Contains("inside 95 %"));
    CHECK_THAT(text,
               Contains("% of packets lost over 10 s") && Contains("T+0:38.0") && Contains("Marker: main seen by eye"));
    CHECK_THAT(text, Contains("Longer than 2 s without a good frame") && Contains("4 s"));
    CHECK_THAT(text, Contains(received_sha256(file).value()) && Contains("Dictionary Sanderling, version"));
    CHECK_THAT(text, Contains("it cannot command, arm or fire anything"));
}

TEST_CASE("a ground test's report has its verdicts, its charge and the tests before it") {
    const test::TemporaryFolder folder;
    const std::vector<FolderFile> files{
        {"procedures/separation-test.json", separation_procedure("Tethered separation test", "Look twice.")}};
    for (int test = 1; test <= 3; ++test) {
        HandMade made(demo_setup(files), kStart_ns + (test - 4) * 86'400'000'000'000);
        add_ground_test(made, test, 0.0186 + 0.003 * (3 - test));
        const auto file = made.record(folder, 60);
        // By hand: (21.6 - 24.6) / 23.1 = -13.0 %, with hypot(0.5, 0.5) / 23.1 = 3.1 %.
        if (test == 2) CHECK_THAT(read_out(page_of(file, "second-test")), Contains("−13 ± 3 %"));
        if (test < 3) continue;
        const std::string page = page_of(file, "ground-test");
        const std::string text = read_out(page);
        CHECK_THAT(text,
                   Contains("Ground test report") && Contains("Tethered separation test 3") &&
                       Contains("Failed: 3 of 4 checks hold. Level fails. Least margin: Battery, least, 0.38 V."));
        CHECK_THAT(text, Contains("≥ 7.4") && Contains("7.78 V") &&
                             Contains("Range clear by R. M. confirmed confirmed holds"));
        CHECK_THAT(text, Contains("2 lid off") && Contains("18.6 ± 0.5 ms") && Contains("133 ± 2 m/s²") &&
                             Contains("3.01 ± 0.04 kPa"));
        CHECK_THAT(text, Contains("Settled seen no") && !Contains("Lid off seen") &&
                             Contains("Barometer well 2 ± 2 Pa 0.420") &&
                             Contains("cannot tell an offset of the accelerometer across gravity below 1.3 m/s²"));
        CHECK_THAT(text, Contains("Shock response spectrum") && Contains("Test 2, 2026\u201105\u201115") &&
                             Contains("Test 1, 2026\u201105\u201114"));
        // 18.6, 21.6 and 24.6 ms: mean 21.6, sample standard deviation 3.0, and t(0.975, 2) = 4.303 of 1.732 to each
        // side. Against the earlier two, 23.1 with s = 2.12: -4.5 / 20.85 = -21.6 %, and by the law of propagation
        // (JCGM 100:2008, 5.2.2) 13 %, of which one digit counts.
        CHECK_THAT(text, Contains("22 ± 3") && Contains("14.1 to 29.1") && Contains("−20 ± 10 %"));
        CHECK_THAT(text, Contains("Caution. The charge is live") && Contains("Repeated 1 time") &&
                             Contains("Waived: camera battery empty"));
        CHECK_THAT(text, Contains("Range safety officer, date"));
        CHECK(page.find("class=\"edge\"") != std::string::npos);
        CHECK_THAT(text, Contains(received_sha256(file).value()) && Contains("Dictionary Sanderling, version") &&
                             Contains("Turnstone " TURNSTONE_VERSION));
        // What is measured is said in the unit of what is required.
        CHECK_THAT(text, Contains("≥ 20.00 hPa 30.12 hPa 10.12 hPa holds"));
        // The limit on the pulse stands in the picture, across the pressure.
        CHECK(page.find("class=\"limit\"") != std::string::npos);
        CHECK_THAT(text, Contains("least 2 kPa"));
    }
}

TEST_CASE("as many edges as a charge can show stand in rows that fit the page") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("Separation test", "Look.")}}));
    add_ground_test(made, 1, 0.02);
    for (const auto& [edge, after_s] :
         {std::pair("current_begins", 0.0004), {"battery_back", 0.1}, {"barometer_back", 0.27}})
        made.event(
            EventId::edge_found, 30,
            {{"charge", std::string("drogue")}, {"edge", std::string(edge)}, {"after_s", after_s}, {"sigma_s", 0.0004}},
            "drogue");
    const std::string text = read_out(page_of(made.record(folder, 60), "many-edges"));
    CHECK_THAT(text, Contains("1 current begins") && Contains("Edges found 6") && Contains("7 barometer back"));
}

// Rest and the turning point of a line give the scale of its strip.
TEST_CASE("a limit of what is greatest to either side is drawn on the side to which it went") {
    nlohmann::json procedure = nlohmann::json::parse(separation_procedure("Separation test", "Look."));
    for (const auto& [figure, most] : {std::pair("shock", 150), {"turn_rate", 300}}) {
        procedure["checks"].push_back({{"id", figure},
                                       {"title", figure},
                                       {"value", {{"table", "charge/drogue"}, {"column", figure}}},
                                       {"most", most}});
        procedure["steps"][2]["checks"].push_back(figure);
    }
    for (const double side : {1.0, -1.0}) {
        INFO(side);
        const test::TemporaryFolder folder;
        HandMade made(demo_setup({{"procedures/separation-test.json", procedure.dump()}}));
        add_ground_test(made, 1, 0.02, "R. M.", side);
        const std::string page = page_of(made.record(folder, 60), side > 0 ? "limit-above" : "limit-below");
        const std::string picture = page.substr(page.find("Drogue charge, "));
        const auto limit = [&](const std::string& label) {
            const std::size_t at = picture.find(label);
            REQUIRE(at != std::string::npos);
            return path_of(picture.substr(picture.rfind("<path class=\"limit\"", at)), "limit").front().y;
        };
        const auto line_of = [&](std::size_t number) {
            std::size_t at = 0;
            for (std::size_t i = 0; i < number; ++i) at = picture.find("<path class=\"line s1\"", at) + 1;
            return path_of(picture.substr(at - 1), "line s1");
        };
        const auto over_peak = [&](double y, const std::vector<Corner>& line) {
            const auto far = [&](const Corner& corner) { return std::abs(corner.y - line.front().y); };
            return (y - line.front().y) / (std::ranges::max_element(line, {}, far)->y - line.front().y);
        };
        // The shock that the check compares is the change, here from 9.8 m/s² by 130 to one side.
        CHECK(over_peak(limit("most 150\u00a0m/s²"), line_of(1)) == Approx(150.0 / 130).epsilon(0.02));
        CHECK(over_peak(limit("most 300\u00a0°/s"), line_of(3)) ==
              Approx(300 / (4 * 180 / std::numbers::pi)).epsilon(0.02));
    }
}

TEST_CASE("a ground test with a poll in the same recording is signed for by both") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("Separation test", "Look.")},
                              {"readiness.json", readiness_board("Weather")}}));
    add_ground_test(made, 1, 0.02);
    add_poll(made);
    const std::string text = read_out(page_of(made.record(folder, 60), "test-and-poll"));
    const std::string signatures = text.substr(text.find("Signatures"));
    for (const char* who : {"Test conductor", "Range safety officer, date", "Weather, date", "Range safety, date"}) {
        INFO(who);
        CHECK_THAT(signatures, Contains(who));
    }
}

TEST_CASE("tests on the ground stand beside tests on the ground, and not beside a charge fired in flight") {
    const test::TemporaryFolder folder;
    const std::vector<FolderFile> files{
        {"procedures/separation-test.json", separation_procedure("Tethered separation test", "Look twice.")}};
    constexpr std::int64_t kDay_ns = 86'400'000'000'000;
    HandMade first(demo_setup(files), kStart_ns);
    add_ground_test(first, 1, 0.02);
    (void)first.record(folder, 60);
    const auto fly = [&](std::int64_t day, double lid_off_s) {
        HandMade flown(demo_setup(files), kStart_ns + day * kDay_ns);
        add_flight(flown);
        add_charge_tables(flown);
        flown.row("sanderling/charge/drogue", 35,
                  {{"lid_off", lid_off_s}, {"lid_off_sigma", 0.0005}, {"in_flight", 1}});
        return flown.record(folder, 101);
    };
    CHECK_THAT(read_out(page_of(fly(1, 0.008), "first-flown")), !Contains("Tests side by side"));
    HandMade second(demo_setup(files), kStart_ns + 2 * kDay_ns);
    add_ground_test(second, 2, 0.021);
    const std::string text = read_out(page_of(second.record(folder, 60), "after-a-flight"));
    CHECK_THAT(text, Contains("Test 1, 2026\u201105\u201117") && !Contains("2026\u201105\u201118") &&
                         Contains("sample standard deviation of 2 tests"));
    CHECK_THAT(read_out(page_of(fly(3, 0.009), "second-flown")),
               Contains("2026\u201105\u201118") && !Contains("2026\u201105\u201117") && !Contains("Test 2"));
}

// The event of a check's last change of state has the figures of that moment; it held on, and drifted while it did.
TEST_CASE("a check's figures are those at its end, not those when its state last changed") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("Separation test", "Look.")}}));
    add_ground_test(made, 1, 0.02);
    made.row("sanderling/procedure/separation-test", 54,
             {{"battery", 7.5}, {"battery_margin", 0.1}, {"battery_state", 1}, {"clear", 1}, {"clear_state", 1}});
    const std::string text = read_out(page_of(made.record(folder, 60), "drifted"));
    CHECK_THAT(text, Contains("≥ 7.40 V 7.50 V 0.10 V holds") && Contains("Least margin: Battery, least, 0.10 V."));
    CHECK_THAT(text, Contains("Range clear by R. M. confirmed confirmed holds"));
}

// A statement that is too old, or was made before its step was repeated, is on the tape all the same.
TEST_CASE("a statement counts for no longer than the board or the procedure lets it") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("Separation test", "Look.")}}));
    add_ground_test(made, 1, 0.02);
    made.row("sanderling/procedure/separation-test", 54, {{"clear_state", 0}});
    const std::string text = read_out(page_of(made.record(folder, 60), "old-statement"));
    CHECK_THAT(text, Contains("Range clear by R. M. confirmed – waits") && !Contains("confirmed holds"));
}

TEST_CASE("a report carries the mass record of the vehicle that it is about") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"procedures/separation-test.json", separation_procedure("T", "L")},
                              {"mass.csv", "part,like,burns,target_kg,mass_kg,mass_sigma_kg,station_m,weighed_on\n"
                                           "nose,,,0.220,0.2120,0.0005,0.190,2026-03-07\n"
                                           "fin 1,fin,,0.060,0.0620,0.0002,1.280,2026-03-07\n"
                                           "fin 2,fin,,0.060,0.0600,0.0002,1.280,2026-03-07\n"
                                           "propellant,,yes,0.340,0.3380,0.0010,1.180,2026-04-11\n"}}));
    add_ground_test(made, 1, 0.02);
    const std::string text = read_out(page_of(made.record(folder, 60), "mass"));
    // 0.212 + 0.062 + 0.060 + 0.338 = 0.672 kg, 1-sigma √(0.5² + 0.2² + 0.2² + 1²) = 1.15 g; the fins differ by 2 g of
    // 61 g, 3.28 %, with √2 · 0.2 g of 61 g, 0.46 %.
    CHECK_THAT(text, Contains("Mass record") && Contains("nose 0.2120 ± 0.0005") && Contains("+0.008"));
    CHECK_THAT(text, Contains("Loaded 0.672 ± 0.001 0.680 +0.008"));
    CHECK_THAT(text, Contains("fin 1 − fin 2 fin +3.3 ± 0.5 %"));
    HandMade without(demo_setup({{"procedures/separation-test.json", separation_procedure("T", "L")}}));
    add_ground_test(without, 1, 0.02);
    CHECK_THAT(read_out(page_of(without.record(folder, 60), "no-mass")), !Contains("Mass record"));
}

TEST_CASE("a poll's report has the board, the answers and what is missing for go") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"readiness.json", readiness_board("Weather")}}));
    add_poll(made);
    const std::string text = read_out(page_of(made.record(folder, 30), "poll"));
    CHECK_THAT(text, Contains("Poll report") && Contains("Weather says no go"));
    CHECK_THAT(text, Contains("Range safety go K. L.") && Contains("Weather no go K. L."));
    CHECK_THAT(text, Contains("Wind, gust") && Contains("fails") && Contains("≤ 8.9"));
}

TEST_CASE("a poll's report has the holds of the countdown in the order of time, each with its reason") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"readiness.json", readiness_board("Weather")}}));
    add_poll(made);
    const auto step = [&](EventId id, double t_s, double left_s, const std::string& reason = "") {
        EventValues values{{"left_s", left_s}};
        if (!reason.empty()) values.push_back({"reason", reason});
        made.event(id, t_s, std::move(values));
    };
    using enum EventId;
    step(countdown_runs, 22, 600);
    step(countdown_held, 30, 592);
    step(countdown_held, 34, 592, "wind above its limit"); // held first, then why
    step(countdown_runs, 95, 592);
    step(countdown_held, 100, 300);
    step(countdown_runs, 102, 300);
    step(countdown_held, 110, 292, "<b>boat</b> in the area");
    step(countdown_held, 120, 292, "smoke");
    const std::string page = page_of(made.record(folder, 130), "holds");
    CHECK(page.find("<b>boat") == std::string::npos);
    const std::string text = read_out(page);
    INFO(text);
    const std::vector<std::string> rows{"T−9:52 1 min 05 s wind above its limit", "T−5:00 2 s not said",
                                        "T−4:52 10 s &lt;b&gt;boat&lt;/b&gt; in the area", "T−4:52 to the end smoke"};
    std::size_t from = text.find("Holds of the countdown");
    REQUIRE(from != std::string::npos);
    for (const std::string& row : rows) {
        INFO(row);
        from = text.find(row, from);
        REQUIRE(from != std::string::npos);
    }
    CHECK_THAT(text, Contains("Countdown held at T-9:52: wind above its limit"));
}

TEST_CASE("a poll's report without a hold has no chapter of holds") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"readiness.json", readiness_board("Weather")}}));
    add_poll(made);
    CHECK_THAT(read_out(page_of(made.record(folder, 30), "no-holds")), !Contains("Holds"));
}

TEST_CASE("each flight of a recording has its own poll in the report") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup({{"readiness.json", readiness_board("Weather")}}));
    add_poll(made);
    made.event(EventId::readiness_at_liftoff, 25,
               {{"ready", false}, {"reasons", std::vector<std::string>{"Weather says no go"}}});
    const auto answered = [&](double t_s, const char* position, const char* title, const char* note) {
        made.event(EventId::poll_answered, t_s,
                   {{"position", std::string(position)},
                    {"title", std::string(title)},
                    {"go", true},
                    {"by", std::string("K. L.")},
                    {"note", std::string(note)}},
                   position);
    };
    answered(40, "weather", "Weather", "calm");
    answered(41, "safety", "Range safety", "");
    made.row("sanderling/readiness", 42,
             {{"wind_gust", 3.2}, {"wind_gust_margin", 5.7}, {"wind_gust_state", 1}, {"ready", 1}});
    made.event(EventId::ready, 42);
    made.event(EventId::readiness_at_liftoff, 50, {{"ready", true}});
    const std::string text = read_out(page_of(made.record(folder, 60), "two-polls"));
    CHECK_THAT(text, Contains("Before liftoff 1 of Sanderling: Not ready: ") &&
                         Contains("Poll before liftoff 1 of Sanderling") && Contains("Weather no go K. L."));
    CHECK_THAT(text, Contains("Poll before liftoff 2 of Sanderling") && Contains("Weather go K. L.") &&
                         Contains("Readiness before liftoff 2 of Sanderling") && Contains("3.2 m/s") &&
                         !Contains("after liftoff"));
}

TEST_CASE("a recording with nothing in it still has a report, and a file that is none has a reason") {
    const test::TemporaryFolder folder;
    HandMade made(demo_setup());
    CHECK_THAT(read_out(page_of(made.record(folder, 5), "empty")),
               Contains("Recording report") && Contains("No flight, no ground test and no poll"));
    const auto none = report_page(folder.write("x.sqlite", "not a recording"));
    REQUIRE(!none);
    CHECK_THAT(none.error().message, Contains("x.sqlite"));
    CHECK(!report_page(folder.path() / "missing.sqlite"));
}

TEST_CASE("names and notes that would be markup stay text, wherever they stand") {
    const test::TemporaryFolder folder;
    nlohmann::json dictionary = test::read_json(test::demo_path("sanderling/dictionary.json"));
    const std::string printable = "\"'><script>alert(1)</script><b \u202E&amp;";
    std::vector<Problem> problems;
    auto setup = demo_setup({{"procedures/separation-test.json", separation_procedure(printable, printable)},
                             {"readiness.json", readiness_board(printable)}});
    dictionary["title"] = printable;
    setup.vehicles[0].dictionary_json = dictionary.dump();
    nlohmann::json site = nlohmann::json::parse(setup.site_json);
    site["name"] = printable;
    setup.site_json = site.dump();
    setup.links[0].uri = kHostile;
    HandMade made(std::move(setup));
    add_flight(made);
    add_ground_test(made, 1, 0.02, kHostile);
    add_poll(made, kHostile);
    made.event(EventId::note, 40, {{"text", kHostile}});
    const std::string page = page_of(made.record(folder, 101), "hostile");
    CHECK_THAT(page,
               Contains("&lt;script&gt;alert(1)") && !Contains("\u202E") && !Contains("\x1b") && !Contains("\xff"));
}
