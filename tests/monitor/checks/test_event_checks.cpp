// Checks of events, of what a column does about one, of gaps and of alerts.
#include "tests/monitor/checks/check_cases.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// The one 1.5 s after the other.
void drogue_after_apogee(DeskBench& bench) {
    bench.run(10);
    bench.event(EventId::apogee, 8.0);
    bench.event(EventId::drogue_out, 9.5);
    bench.run(11);
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

} // namespace

TEST_CASE("a check of events, gaps or alerts has the state and the figures that follow from them") {
    run_cases({
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
         steady(
             "alpha/baro", "pressure", 3, [](double) { return 1000.0; }),
         "waits"},
        {"too little before the event",
         {{"value", kPressure}, {"measure", "peak"}, {"after", {{"event", "charge_fired"}}}, {"least", 300}},
         [](DeskBench& bench) {
             bench.event(EventId::charge_fired, 0.0);
             bench.run(
                 20,
                 [&] {
                     bench.row("alpha/baro", {{"pressure", 1000}});
                 });
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
         drogue_after_apogee,
         "fails",
         1.5,
         -0.5},
        {"an event too early",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"least", 2}, {"most", 3}},
         drogue_after_apogee,
         "fails",
         1.5,
         -0.5},
        {"an event within both its limits",
         {{"event", {{"event", "drogue_out"}}}, {"after", {{"event", "apogee"}}}, {"least", 1}, {"most", 3}},
         drogue_after_apogee,
         "holds",
         1.5,
         0.5},
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
         steady(
             "alpha/imu", "x", 3.9, [](double) { return 0.0; }),
         "holds",
         0.1,
         0.4},
        {"a gap that is over",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         [](DeskBench& bench) {
             bench.run(
                 4,
                 [&] {
                     if (bench.t_s() < 1.05 || bench.t_s() > 1.95) bench.row("alpha/imu", {{"x", 0}});
                 });
         },
         "fails",
         1,
         -0.5},
        {"a silence that lasts",
         {{"gap", {{"table", "imu"}}}, {"most", 0.5}},
         [](DeskBench& bench) {
             bench.run(
                 1,
                 [&] {
                     bench.row("alpha/imu", {{"x", 0}});
                 });
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
    });
}

TEST_CASE(
    "a check of gaps that begins again counts the silence that it begins in, but not that of a sensor that was off") {
    struct Case {
        double silent_s;
        const char* state;
        double longest_s;
    };
    for (const Case& each : {Case{3, "fails", 3.1}, Case{20, "holds", 0.1}}) {
        INFO("silent for " << each.silent_s << " s");
        DeskBench bench(
            {{"procedures/bench.json",
              json{{"title", "Bench"},
                   {"checks", {{{"id", "it"}, {"title", "It"}, {"gap", {{"table", "imu"}}}, {"most", 0.5}}}},
                   {"steps",
                    {{{"id", "look"}, {"kind", "check"}, {"title", "Look"}, {"checks", {"it"}}},
                     {{"id", "end"}, {"kind", "instruct"}, {"title", "End"}}}}}
                  .dump()}});
        const auto heard = [&](double until_s) { bench.run(until_s, [&] { bench.row("alpha/imu", {{"x", 0}}); }); };
        bench.act(ProcedureCommand{"alpha", "bench", ProcedureStep::begin, "KL"});
        heard(5);
        bench.act(StepCommand{"alpha", "look", StepDeed::done, "KL"});
        bench.run(5 + each.silent_s);
        bench.act(StepCommand{"alpha", "look", StepDeed::repeat, "KL"});
        heard(7 + each.silent_s);
        CHECK(bench.state("alpha/procedure/bench", "it") == each.state);
        CHECK(bench.newest("alpha/procedure/bench", "it") == Approx(each.longest_s).margin(1e-6));
    }
}
