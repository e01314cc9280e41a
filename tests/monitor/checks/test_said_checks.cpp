// Checks of what people, vehicles and the station say.
#include "tests/monitor/checks/check_cases.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("a check of what is said has the state and the figures that follow from it") {
    run_cases({
        {"nobody has confirmed it", {{"statement", true}}, [](DeskBench& bench) { bench.run(1); }, "waits"},
        {"somebody has",
         {{"statement", true}},
         [](DeskBench& bench) {
             bench.act(CheckStatement{.vehicle = "alpha", .check = "it", .holds = true, .by = "KL"});
             bench.run(1);
         },
         "holds",
         1,
         0},
        {"somebody has denied it",
         {{"statement", true}},
         [](DeskBench& bench) {
             bench.act(CheckStatement{.vehicle = "alpha", .check = "it", .holds = false, .by = "KL"});
             bench.run(1);
         },
         "fails",
         0,
         -1},
        {"a confirmation that is too old",
         {{"statement", true}, {"no_older_than_s", 60}},
         [](DeskBench& bench) {
             bench.act(CheckStatement{.vehicle = "alpha", .check = "it", .holds = true, .by = "KL"});
             bench.run(100);
         },
         "waits"},
        {"an entered value",
         {{"entered", "cloud_base_m"}, {"least", 1000}},
         [](DeskBench& bench) {
             bench.act(Entered{.vehicle = "", .name = "cloud_base_m", .value = 1500, .by = "KL"});
             bench.run(1);
         },
         "holds",
         1500,
         500},
        {"an entered value where the sensor is silent",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 9.4, .by = "KL"});
             bench.run(1);
         },
         "fails",
         9.4,
         -0.5},
        {"an entry that is too old takes no sensor's place",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"no_older_than_s", 60},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.run(
                 1,
                 [&] {
                     bench.row("mast/wind", {{"speed", 3}});
                 });
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
             bench.run(100);
         },
         "waits"},
        {"an entry takes the place of a sensor that fell silent",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"no_older_than_s", 60},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.run(
                 1,
                 [&] {
                     bench.row("mast/wind", {{"speed", 3}});
                 });
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
             bench.run(20);
         },
         "holds",
         4,
         4.9},
        {"an entry from before the sensor's last word does not take its place",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"no_older_than_s", 900},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
             bench.run(
                 4,
                 [&] {
                     bench.row("mast/wind", {{"speed", 12}});
                 });
             bench.run(60);
         },
         "waits"},
        {"the sensor before what was entered",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 9.4, .by = "KL"});
             bench.run(
                 4,
                 [&] {
                     bench.row("mast/wind", {{"speed", 3}});
                 });
         },
         "holds",
         3,
         5.9},
        {"a vehicle that is not received here",
         {{"value", {{"vehicle", "boat"}, {"table", "wind"}, {"column", "speed"}}}, {"most", 8.9}},
         [](DeskBench& bench) { bench.run(1); },
         "not_evaluated"},
        {"the best of several links",
         {{"value", {{"link", "any"}, {"column", "loss_10s"}}}, {"most", 0.2}},
         [](DeskBench& bench) {
             bench.run(
                 3,
                 [&] {
                     bench.row("link/radio", {{"loss_10s", 0.5}});
                     bench.row("link/spare", {{"loss_10s", 0.1}});
                 });
         },
         "holds",
         0.1,
         0.1},
        {"the one link that is meant",
         {{"value", {{"link", "radio"}, {"column", "loss_10s"}}}, {"most", 0.2}},
         [](DeskBench& bench) {
             bench.run(
                 3,
                 [&] {
                     bench.row("link/radio", {{"loss_10s", 0.5}});
                     bench.row("link/spare", {{"loss_10s", 0.1}});
                 });
         },
         "fails",
         0.5,
         -0.3},
        {"hours left on the disk",
         {{"station", "disk_left_h"}, {"least", 8}},
         [](DeskBench& bench) {
             bench.act(StationFigure{.what = StationValue::disk_left_h, .value = 20});
             bench.run(1);
         },
         "holds",
         20,
         12},
        {"the dictionary's version, as the vehicle says it",
         {{"says", {{"table", "health"}, {"column", "firmware"}}}},
         [](DeskBench& bench) {
             bench.run(
                 1, [&] { bench.row("alpha/health", {}, {}, {"2.1"}); });
         },
         "holds",
         1,
         0},
        {"another version",
         {{"says", {{"table", "health"}, {"column", "firmware"}}}},
         [](DeskBench& bench) {
             bench.run(
                 1, [&] { bench.row("alpha/health", {}, {}, {"2.0"}); });
         },
         "fails",
         0,
         -1},
    });
}

// Station time goes on from one recording to the next, as the times of benches do here.
TEST_CASE("what the next recording carries on is as old as it was in the one before") {
    const auto bench_of = [](const json& check) { return DeskBench({readiness_file(json::array({check}))}); };
    SECTION("hours left on the disk, which the station has not said since") {
        const json check{{"id", "it"}, {"title", "It"}, {"station", "disk_left_h"}, {"least", 8}};
        DeskBench before = bench_of(check), after = bench_of(check);
        before.run(1);
        before.act(StationFigure{.what = StationValue::disk_left_h, .value = 20});
        before.run(250);
        CHECK(before.state("alpha/readiness", "it") == "holds");
        std::vector<Action> carried;
        before.desk.carry(carried);
        after.run(250);
        after.go_on_from(carried);
        after.run(299);
        CHECK(after.state("alpha/readiness", "it") == "holds");
        after.run(303); // 300 s after it was said
        CHECK(after.state("alpha/readiness", "it") == "waits");
    }
    SECTION("an entry, when the sensor said something later and fell silent") {
        const json check{{"id", "it"},
                         {"title", "It"},
                         {"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
                         {"or_entered", "wind_mps"},
                         {"most", 8.9}};
        DeskBench before = bench_of(check), after = bench_of(check), nothing_measured = bench_of(check);
        const auto enter = [](DeskBench& bench) {
            bench.run(1);
            bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
        };
        enter(before);
        before.run(5);
        before.row("mast/wind", {{"speed", 5}});
        before.run(50);
        CHECK(before.state("alpha/readiness", "it") == "waits");
        std::vector<Action> carried;
        before.desk.carry(carried);
        after.run(50);
        after.go_on_from(carried);
        after.run(52);
        CHECK(after.state("alpha/readiness", "it") == "waits");
        after.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
        after.run(54);
        CHECK(after.state("alpha/readiness", "it") == "holds");
        carried.clear();
        enter(nothing_measured);
        nothing_measured.desk.carry(carried);
        DeskBench next = bench_of(check);
        next.go_on_from(carried);
        next.run(52);
        CHECK(next.state("alpha/readiness", "it") == "holds");
    }
}

TEST_CASE("a procedure that was passed counts by its age, whatever recording it stands in") {
    constexpr std::int64_t kDayNs = 86'400 * kNsPerS;
    const FolderFile procedure{"procedures/test.json",
                               R"({"title": "Test", "steps": [{"id": "a", "kind": "instruct", "title": "A"}]})"};
    const json check{{"id", "it"}, {"title", "It"}, {"passed", "test"}, {"most", 14}};
    DeskBench bench({procedure, readiness_file(json::array({check}))});
    bench.run(1);
    CHECK(bench.state("alpha/readiness", "it") == "waits");
    bench.act(PastProcedure{.vehicle = "alpha",
                            .procedure = "test",
                            .runs = 3,
                            .passed_ns = kDeskStart_ns - 10 * kDayNs,
                            .recording = "2026-05-17T143205Z-alpha",
                            .sha256 = "00ff",
                            .waived = {"Weigh", "Look"}});
    CHECK_THAT(bench.last(EventId::past_procedure)->text, Catch::Contains(", waived: Weigh; Look"));
    bench.run(2);
    CHECK(bench.state("alpha/readiness", "it") == "holds");
    CHECK(bench.newest("alpha/readiness", "it") == Approx(10).margin(0.01));
    const Event* decided = bench.last(EventId::check_decided);
    REQUIRE(decided != nullptr);
    CHECK_THAT(decided->text, Catch::Contains("2026-05-17T143205Z-alpha") && Catch::Contains("00ff") &&
                                  Catch::Contains("waived: Weigh; Look"));
    bench.act(
        PastProcedure{.vehicle = "alpha", .procedure = "test", .runs = 1, .passed_ns = kDeskStart_ns - 20 * kDayNs});
    bench.run(3);
    CHECK(bench.state("alpha/readiness", "it") == "holds"); // the newest counts
    const auto failed = [&](std::int64_t t_ns) {
        bench.act(PastProcedure{.vehicle = "alpha", .procedure = "test", .runs = 4, .failed_ns = t_ns});
        bench.run(bench.t_s() + 2);
        return bench.state("alpha/readiness", "it");
    };
    CHECK(failed(kDeskStart_ns - 11 * kDayNs) == "holds"); // before it was passed
    CHECK(failed(kDeskStart_ns - 9 * kDayNs) == "fails");
    CHECK_THAT(bench.last(EventId::past_procedure)->text, Catch::Contains("failed"));
}
