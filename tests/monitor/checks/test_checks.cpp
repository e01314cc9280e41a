// Every kind of check, on rows, events and what people say: its state, and the value that decided. Expected values are
// worked out by hand from what each case feeds.
#include <functional>

#include <catch2/catch.hpp>

#include "tests/monitor/desk_bench.hpp"

using namespace turnstone;
using namespace turnstone::test;
using nlohmann::json;

namespace {

struct Case {
    const char* name;
    json check; ///< without id and title
    std::function<void(DeskBench&)> feed;
    const char* state;
    double measured = kNaN; ///< NaN: none
    double margin = kNaN;
};

const json kBattery{{"table", "health"}, {"column", "battery"}};
const json kPressure{{"table", "baro"}, {"column", "pressure"}};

/// A value every tick up to a time.
std::function<void(DeskBench&)> steady(const char* table, const char* column, double until_s,
                                       std::function<double(double)> value) {
    return [=](DeskBench& bench) {
        bench.run(
            until_s,
            [&] {
                bench.row(table, {{column, value(bench.t_s())}});
            });
    };
}

/// A pressure of 1000 Pa, a triangle of 400 Pa from 3.0 to 3.4 s, then `after`; the firing is said at 8 s.
std::function<void(DeskBench&)> pulse(double after) {
    return [after](DeskBench& bench) {
        bench.run(
            8,
            [&] {
                for (const double back_s : {0.08, 0.04, 0.0}) {
                    const double t = bench.t_s() - back_s;
                    const double above = t < 3 ? 0 : t < 3.2 ? (t - 3) * 2000 : t < 3.4 ? (3.4 - t) * 2000 : after;
                    bench.row("alpha/baro", {{"pressure", 1000 + above}}, t);
                }
            });
        bench.event(EventId::charge_fired, 3.0);
        bench.run(
            9,
            [&] {
                bench.row("alpha/baro", {{"pressure", 1000 + after}});
            });
    };
}

json with(json base, const json& more) {
    base.update(more);
    return base;
}

const std::vector<Case>& cases() {
    const auto battery = [](double volts) {
        return steady("alpha/health", "battery", 1, [volts](double) { return volts; });
    };
    const json in_range{{"value", kBattery}, {"least", 7.0}, {"most", 8.5}};
    static const std::vector<Case> all{
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
        {"the peak of a pulse",
         {{"value", kPressure}, {"measure", "peak"}, {"after", {{"event", "charge_fired"}}}, {"least", 300}},
         pulse(0),
         "holds",
         400,
         100},
        // A tenth of 400 Pa 20 ms after the beginning, nine tenths 180 ms after it.
        {"its rise",
         {{"value", kPressure}, {"measure", "rise"}, {"after", {{"event", "charge_fired"}}}, {"most", 0.1}},
         pulse(0),
         "fails",
         0.16,
         -0.06},
        {"its duration",
         {{"value", kPressure}, {"measure", "duration"}, {"after", {{"event", "charge_fired"}}}, {"most", 0.5}},
         pulse(0),
         "holds",
         0.2,
         0.3},
        {"its impulse",
         {{"value", kPressure}, {"measure", "impulse"}, {"after", {{"event", "charge_fired"}}}, {"most", 100}},
         pulse(0),
         "holds",
         80,
         20},
        {"back within its tolerance",
         {{"value", kPressure},
          {"measure", "back"},
          {"after", {{"event", "charge_fired"}}},
          {"tolerance", 30},
          {"most", 0.5}},
         pulse(0),
         "holds",
         0.4,
         0.1},
        {"not back at all",
         {{"value", kPressure},
          {"measure", "back"},
          {"after", {{"event", "charge_fired"}}},
          {"tolerance", 30},
          {"most", 0.5}},
         pulse(90),
         "fails",
         1,
         -0.5},
        {"changed for good",
         {{"value", kPressure}, {"measure", "change"}, {"after", {{"event", "charge_fired"}}}, {"within", 50}},
         pulse(90),
         "fails",
         90,
         -40},
        {"no event to measure about",
         {{"value", kPressure}, {"measure", "peak"}, {"after", {{"event", "charge_fired"}}}, {"least", 300}},
         steady("alpha/baro", "pressure", 3, [](double) { return 1000.0; }),
         "waits"},
        {"too little before the event",
         {{"value", kPressure}, {"measure", "peak"}, {"after", {{"event", "charge_fired"}}}, {"least", 300}},
         [](DeskBench& bench) {
             bench.event(EventId::charge_fired, 0.0);
             bench.run(20, [&] { bench.row("alpha/baro", {{"pressure", 1000}}); });
         },
         "not_evaluated"},
        {"an event in time after another",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"most", 3}},
         [](DeskBench& bench) {
             bench.run(10);
             bench.event(EventId::drogue_out, 4.0); // of a flight before
             bench.event(EventId::apogee, 8.0);
             bench.event(EventId::drogue_out, 9.5);
             bench.run(11);
         },
         "holds",
         1.5,
         1.5},
        {"an event too late",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"most", 1}},
         [](DeskBench& bench) {
             bench.run(10);
             bench.event(EventId::apogee, 8.0);
             bench.event(EventId::drogue_out, 9.5);
             bench.run(11);
         },
         "fails",
         1.5,
         -0.5},
        {"an event that may still come",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"most", 3}},
         [](DeskBench& bench) {
             bench.run(10);
             bench.event(EventId::apogee, 8.0);
             bench.run(11);
         },
         "waits"},
        {"an event that did not come",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"most", 3}},
         [](DeskBench& bench) {
             bench.run(10);
             bench.event(EventId::apogee, 8.0);
             bench.run(40);
         },
         "fails"},
        {"a figure that an event carries",
         {{"event", {{"event", "shock"}, {"figure", "peak_mps2"}}}, {"least", 50}},
         [](DeskBench& bench) {
             bench.run(1);
             bench.event({.id = EventId::shock, .t_ns = bench.now_ns(), .values = {{"peak_mps2", 80.0}}});
             bench.run(2);
         },
         "holds",
         80,
         30},
        {"no restart",
         {{"count", {{"event", "reboot"}}}, {"most", 0}},
         [](DeskBench& bench) { bench.run(1); },
         "holds",
         0,
         0},
        {"a restart",
         {{"count", {{"event", "reboot"}}}, {"most", 0}},
         [](DeskBench& bench) {
             bench.run(1);
             bench.event(EventId::reboot);
             bench.run(2);
         },
         "fails",
         1,
         -1},
        {"a restart of another vehicle",
         {{"count", {{"event", "reboot"}}}, {"most", 0}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::reboot, .t_ns = bench.now_ns()}, 1);
             bench.run(2);
         },
         "holds",
         0,
         0},
        {"only the charge that is meant",
         {{"count", {{"event", "charge_fired"}, {"about", "main"}}}, {"most", 0}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::charge_fired,
                          .t_ns = bench.now_ns(),
                          .about = "drogue",
                          .values = {{"charge", std::string("drogue")}}});
             bench.run(1);
         },
         "holds",
         0,
         0},
        {"what is to happen and has not",
         {{"count", {{"event", "charge_fired"}}}, {"least", 1}},
         [](DeskBench& bench) { bench.run(1); },
         "waits",
         0,
         -1},
        {"no gap",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         steady("alpha/imu", "x", 3.9, [](double) { return 0.0; }),
         "holds",
         0.1,
         0.4},
        {"a gap that is over",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         [](DeskBench& bench) {
             bench.run(4, [&] {
                 if (bench.t_s() < 1.05 || bench.t_s() > 1.95) bench.row("alpha/imu", {{"x", 0}});
             });
         },
         "fails",
         1,
         -0.5},
        {"a silence that lasts",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         [](DeskBench& bench) {
             bench.run(1, [&] { bench.row("alpha/imu", {{"x", 0}}); });
             bench.run(2.9);
         },
         "fails",
         2,
         -1.5},
        {"nothing to have gaps yet",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         [](DeskBench& bench) { bench.run(3); },
         "waits"},
        {"no alert", {{"alert", json::object()}}, [](DeskBench& bench) { bench.run(1); }, "holds", 0, 0},
        {"a caution of the vehicle",
         {{"alert", json::object()}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::position_lost, .t_ns = bench.now_ns()});
             bench.run(1);
         },
         "fails",
         1,
         -1},
        {"a caution that was cleared",
         {{"alert", json::object()}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::position_lost, .t_ns = bench.now_ns()});
             bench.event({.id = EventId::position_lost, .t_ns = bench.now_ns(), .cleared = true});
             bench.run(1);
         },
         "holds",
         0,
         0},
        {"an advisory is below a caution",
         {{"alert", json::object()}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::pad_pressure_differs, .t_ns = bench.now_ns()});
             bench.run(1);
         },
         "holds",
         0,
         0},
        {"the link of another vehicle",
         {{"alert", {{"event", "link_down"}}}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::link_down, .t_ns = bench.now_ns(), .about = "mast"}, 1);
             bench.run(1);
         },
         "holds",
         0,
         0},
        {"a link of its own",
         {{"alert", {{"event", "link_down"}}}},
         [](DeskBench& bench) {
             bench.event({.id = EventId::link_down, .t_ns = bench.now_ns(), .about = "spare"});
             bench.run(1);
         },
         "fails",
         1,
         -1},
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
             bench.run(1, [&] { bench.row("mast/wind", {{"speed", 3}}); });
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
             bench.run(1, [&] { bench.row("mast/wind", {{"speed", 3}}); });
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 4, .by = "KL"});
             bench.run(20);
         },
         "holds",
         4,
         4.9},
        {"the sensor before what was entered",
         {{"value", {{"vehicle", "mast"}, {"table", "wind"}, {"column", "speed"}}},
          {"or_entered", "wind_mps"},
          {"most", 8.9}},
         [](DeskBench& bench) {
             bench.act(Entered{.vehicle = "", .name = "wind_mps", .value = 9.4, .by = "KL"});
             bench.run(4, [&] { bench.row("mast/wind", {{"speed", 3}}); });
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
             bench.run(3, [&] {
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
             bench.run(3, [&] {
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
         [](DeskBench& bench) { bench.run(1, [&] { bench.row("alpha/health", {}, {}, {"2.1"}); }); },
         "holds",
         1,
         0},
        {"another version",
         {{"says", {{"table", "health"}, {"column", "firmware"}}}},
         [](DeskBench& bench) { bench.run(1, [&] { bench.row("alpha/health", {}, {}, {"2.0"}); }); },
         "fails",
         0,
         -1},
    };
    return all;
}

} // namespace

TEST_CASE("each kind of check has the state and the figures that follow from what it is fed") {
    std::size_t ran = 0;
    for (const Case& each : cases()) {
        INFO(each.name);
        json check = each.check;
        check["id"] = "it";
        check["title"] = "It";
        DeskBench bench({readiness_file(json::array({check}))});
        each.feed(bench);
        bench.run(std::ceil(bench.t_s() + 0.01)); // rows come at whole seconds
        CHECK(bench.state("alpha/readiness", "it") == each.state);
        const double measured = bench.newest("alpha/readiness", "it");
        const double margin = bench.newest("alpha/readiness", "it_margin");
        CHECK(std::isnan(measured) == std::isnan(each.measured));
        CHECK(std::isnan(margin) == std::isnan(each.margin));
        if (!std::isnan(each.measured)) CHECK(measured == Approx(each.measured).margin(2e-4));
        if (!std::isnan(each.margin)) CHECK(margin == Approx(each.margin).margin(2e-4));
        ++ran;
    }
    CHECK(ran == cases().size());
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
                            .sha256 = "00ff"});
    bench.run(2);
    CHECK(bench.state("alpha/readiness", "it") == "holds");
    CHECK(bench.newest("alpha/readiness", "it") == Approx(10).margin(0.01));
    const Event* decided = bench.last(EventId::check_decided);
    REQUIRE(decided != nullptr);
    CHECK_THAT(decided->text, Catch::Contains("2026-05-17T143205Z-alpha") && Catch::Contains("00ff"));
    bench.act(
        PastProcedure{.vehicle = "alpha", .procedure = "test", .runs = 1, .passed_ns = kDeskStart_ns - 20 * kDayNs});
    bench.run(3);
    CHECK(bench.state("alpha/readiness", "it") == "holds"); // the newest counts
}
