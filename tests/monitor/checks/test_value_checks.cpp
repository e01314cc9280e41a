// Checks of columns, as their rows come.
#include "tests/monitor/checks/check_cases.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("a check of a column has the state and the figures that follow from its rows") {
    const auto battery = [](double volts) {
        return steady("alpha/health", "battery", 1, [volts](double) { return volts; });
    };
    const json in_range{{"value", kBattery}, {"least", 7.0}, {"most", 8.5}};
    run_cases({
        {"a value within its limits", in_range, battery(8.0), "holds", 8.0, 0.5},
        {"a value at its limit", in_range, battery(8.5), "holds", 8.5, 0.0},
        {"a value beyond its limit", in_range, battery(6.5), "fails", 6.5, -0.5},
        {"no value yet", in_range, [](DeskBench& bench) { bench.run(1); }, "waits"},
        {"only NaN", in_range, battery(kNaN), "waits"},
        {"a NaN after a value leaves the value", in_range,
         [battery](DeskBench& bench) {
             battery(8.0)(bench);
             bench.row("alpha/health", {});
             bench.run(2);
         },
         "holds", 8.0, 0.5},
        {"a value that is too old", in_range,
         [battery](DeskBench& bench) {
             battery(8.0)(bench);
             bench.run(5);
         },
         "waits"},
        {"a value that may be older", with(in_range, {{"no_older_than_s", 10}}),
         [battery](DeskBench& bench) {
             battery(8.0)(bench);
             bench.run(5);
         },
         "holds", 8.0, 0.5},
        {"a table of no fixed rate is never too old",
         {{"value", {{"table", "shot"}, {"column", "lid"}}}, {"most", 0.03}},
         [](DeskBench& bench) {
             bench.run(1);
             bench.row("alpha/shot", {{"lid", 0.02}});
             bench.run(100);
         },
         "holds",
         0.02,
         0.01},
        {"a NaN there says that the record cannot say",
         {{"value", {{"table", "shot"}, {"column", "lid"}}}, {"most", 0.03}},
         [](DeskBench& bench) {
             bench.run(1);
             bench.row("alpha/shot", {});
             bench.run(2);
         },
         "not_evaluated"},
        {"one that failed holds again only after 2 s", in_range,
         [](DeskBench& bench) {
             bench.run(1, [&] { bench.row("alpha/health", {{"battery", 6.5}}); });
             bench.run(2.5, [&] { bench.row("alpha/health", {{"battery", 8.0}}); });
         },
         "fails", 8.0, 0.5},
        {"and then it does", in_range,
         [](DeskBench& bench) {
             bench.run(1, [&] { bench.row("alpha/health", {{"battery", 6.5}}); });
             bench.run(4, [&] { bench.row("alpha/health", {{"battery", 8.0}}); });
         },
         "holds", 8.0, 0.5},
        {"a straggler does not count", in_range,
         [battery](DeskBench& bench) {
             battery(8.0)(bench);
             bench.row("alpha/health", {{"battery", 1.0}}, 0.5);
             bench.run(1.1);
         },
         "holds", 8.0, 0.5},
        {"the length of a vector against gravity",
         {{"value", {{"table", "imu"}, {"columns", {"x", "y", "z"}}}},
          {"from", {{"reference", "gravity"}}},
          {"within", 0.2}},
         // Normal gravity at 40 degrees and 1200 m: 9.80170 - 0.00370 (NIMA TR8350.2, by hand).
         [](DeskBench& bench) { bench.run(1, [&] {
                                    bench.row("alpha/imu", {{"x", 9.8}, {"y", 0}, {"z", 0}});
                                }); },
         "holds",
         9.8 - 9.7980,
         0.2 - 0.0020},
        {"a vector with a NaN in it is none",
         {{"value", {{"table", "imu"}, {"columns", {"x", "y", "z"}}}}, {"most", 20}},
         [](DeskBench& bench) { bench.run(1, [&] {
                                    bench.row("alpha/imu", {{"x", 9.8}, {"y", 0}});
                                }); },
         "waits"},
        {"against another column",
         {{"value", {{"table", "imu"}, {"column", "x"}}}, {"from", {{"table", "imu"}, {"column", "y"}}}, {"within", 1}},
         [](DeskBench& bench) { bench.run(1, [&] {
                                    bench.row("alpha/imu", {{"x", 5}, {"y", 3}});
                                }); },
         "fails",
         2,
         -1},
        {"against a reference of the site",
         {{"value", kPressure}, {"from", {{"reference", "pad_pressure"}}}, {"within", 300}},
         steady("alpha/baro", "pressure", 1, [](double) { return 88'100.0; }),
         "holds",
         100,
         200},
        {"a reference that the site file lacks",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"from", {{"reference", "forecast_wind"}}},
          {"within", 3}},
         [](DeskBench& bench) { bench.run(1); },
         "not_evaluated"},
        {"the mean of a window",
         {{"value", kBattery}, {"measure", "mean"}, {"over_s", 2}, {"least", 7}},
         steady("alpha/health", "battery", 13, [](double t) { return t < 7.95 ? 1.0 : 7.5; }),
         "holds",
         7.5,
         0.5},
        {"a window that is not full enough",
         {{"value", kBattery}, {"measure", "mean"}, {"over_s", 10}, {"least", 7}},
         steady("alpha/health", "battery", 4, [](double) { return 8.0; }),
         "waits"},
        {"the greatest of another vehicle's window",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"measure", "greatest"},
          {"over_s", 300},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.run(300, [&] {
                 const double t = bench.t_s();
                 if (t == std::floor(t)) bench.row("mast/wind", {{"speed", t == 200 ? 9.4 : 4.0}});
             });
         },
         "fails",
         9.4,
         -0.5},
        // Sample standard deviation of 1, -1, 1, -1, ... n = 11 values (the second before the last, both ends).
        {"noise of a window",
         {{"value", kBattery}, {"measure", "noise"}, {"over_s", 2}, {"most", 1.1}},
         steady("alpha/health", "battery", 5, [](double t) { return std::lround(t * 10) % 2 == 0 ? 1.0 : -1.0; }),
         "holds",
         std::sqrt((11 - 1.0 / 11) / 10),
         1.1 - std::sqrt((11 - 1.0 / 11) / 10)},
        {"the spread of a window",
         {{"value", kBattery}, {"measure", "spread"}, {"over_s", 2}, {"most", 1}},
         steady("alpha/health", "battery", 5, [](double t) { return std::lround(t * 10) % 2 == 0 ? 1.0 : -1.0; }),
         "fails",
         2,
         -1},
        {"a value that is stuck",
         {{"value", kBattery}, {"measure", "stuck"}, {"most", 5}},
         steady("alpha/health", "battery", 10, [](double t) { return t < 2.05 ? t : 2.0; }),
         "fails",
         8,
         -3},
        {"a counter that fell",
         {{"value", {{"table", "health"}, {"column", "counter"}}}, {"measure", "drop"}, {"most", 0}},
         steady("alpha/health", "counter", 3, [](double t) { return t < 1.95 ? 100 + t : 40.0; }),
         "fails",
         61.9,
         -61.9},
        {"a counter that rises",
         {{"value", {{"table", "health"}, {"column", "counter"}}}, {"measure", "drop"}, {"most", 0}},
         steady("alpha/health", "counter", 3, [](double t) { return 100 + t; }),
         "holds",
         0,
         0},
        {"a value that rose",
         {{"value", kBattery}, {"measure", "climb"}, {"most", 1}},
         steady("alpha/health", "battery", 3, [](double t) { return t < 1.05 ? 5.0 : 7.0; }),
         "fails",
         2,
         -1},
        // From 8 V down by 0.1 V a second: at 10 s it is 7 V, 5 s above 6.5 V.
        {"how long it lasts",
         {{"value", kBattery}, {"measure", "left"}, {"over_s", 5}, {"until", 6.5}, {"least", 3}},
         steady("alpha/health", "battery", 10, [](double t) { return 8 - 0.1 * t; }),
         "holds",
         5,
         2},
        {"what does not fall lasts",
         {{"value", kBattery}, {"measure", "left"}, {"over_s", 5}, {"until", 6.5}, {"least", 3}},
         steady("alpha/health", "battery", 10, [](double) { return 8.0; }),
         "holds",
         360'000,
         359'997},
    });
}

TEST_CASE("the pad's temperature and the forecast's lowest wind are references where the site file has them") {
    const json checks = json::array({{{"id", "warm"},
                                      {"title", "Warm"},
                                      {"value", {{"table", "health"}, {"column", "temperature"}}},
                                      {"from", {{"reference", "pad_temperature"}}},
                                      {"within", 5}},
                                     {{"id", "wind"},
                                      {"title", "Wind"},
                                      {"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
                                      {"from", {{"reference", "forecast_wind"}}},
                                      {"within", 3}}});
    PipelineSetup setup = desk_setup({readiness_file(checks)});
    setup.site.pad_temperature_k = 300;
    setup.site.wind = {{.height_m = 10, .speed_mps = 4, .from_deg = 0},
                       {.height_m = 500, .speed_mps = 9, .from_deg = 0}};
    DeskBench bench(std::move(setup));
    bench.run(2, [&] {
        bench.row("alpha/health", {{"temperature", 303}});
        bench.row("mast/wind", {{"speed", 8}});
    });
    // 303 K - 300 K of 5 K; 8 m/s - 4 m/s of 3 m/s.
    CHECK(bench.state("alpha/readiness", "warm") == "holds");
    CHECK(bench.newest("alpha/readiness", "warm") == Approx(3));
    CHECK(bench.newest("alpha/readiness", "warm_margin") == Approx(2));
    CHECK(bench.state("alpha/readiness", "wind") == "fails");
    CHECK(bench.newest("alpha/readiness", "wind") == Approx(4));
    CHECK(bench.newest("alpha/readiness", "wind_margin") == Approx(-1));
}
