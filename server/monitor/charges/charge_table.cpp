#include "server/monitor/charges/charge_table.hpp"

#include <cmath>
#include <numbers>
#include <string>
#include <utility>

#include "server/monitor/flight/deployment_watch.hpp"
#include "shared/constants.hpp"

namespace turnstone {

namespace {

using analysis::ChargeFindings;
using analysis::Measured;
using analysis::SensorState;
using analysis::Survival;
using Found = const ChargeFindings&;
using ChargeTable = TableOf<ChargeFindings>;

constexpr const char* kCharge = "Charge";
constexpr double kDegrees = 180 / std::numbers::pi;

/// A finding with its 1-sigma; `scale` turns it into the column's unit.
void add_measured(ChargeTable& table, Column column, Measured ChargeFindings::*part, int sigma_decimals,
                  double scale = 1) {
    column.group = kCharge;
    table.add(std::move(column), [part, scale](Found f) { return scale * (f.*part).value; })
        .sigma([part, scale](Found f) { return scale * (f.*part).sigma; }, sigma_decimals);
}

/// A time after the firing.
void add_time(ChargeTable& table, const char* name, const char* title, Measured ChargeFindings::*part,
              const char* description = "") {
    add_measured(table, {.name = name, .title = title, .unit = "s", .decimals = 4, .description = description}, part,
                 4);
}

void add_figure(ChargeTable& table, const char* name, const char* title, const char* unit, int decimals,
                double ChargeFindings::*part, const char* description = "") {
    table.add(
        {name, title, unit, kCharge, decimals, description}, [part](Found f) { return f.*part; });
}

void add_seen(ChargeTable& table, const char* name, const char* title, double ChargeFindings::*part) {
    table.add(
        {name, title, "1", kCharge, 0, "No value: the record cannot say", {{0, "no"}, {1, "yes"}}},
        [part](Found f) { return f.*part; });
}

struct SensorText {
    const char* stem;
    const char* title;
    const char* unit;
    int decimals;
    const char* shift = "Of the means";
};

/// Before against after.
void add_survival(ChargeTable& table, const SensorText& text, Survival ChargeFindings::*part) {
    const std::string stem = text.stem, title = text.title;
    const auto add = [&](const char* name, const char* what, const char* unit, int decimals, double Survival::*figure,
                         const char* description) {
        table.add({stem + name, title + what, unit, kCharge, decimals, description},
                  [part, figure](Found f) { return f.*part.*figure; });
    };
    Enumeration states;
    for (std::size_t k = 0; k < static_cast<std::size_t>(SensorState::unknown); ++k)
        states.emplace(static_cast<std::int64_t>(k), std::string(word(static_cast<SensorState>(k))));
    table.add(
        {stem + "_state", title + " afterwards", "1", kCharge, 0, "No value: the record cannot say", std::move(states)},
        [part](Found f) {
            const SensorState state = (f.*part).state;
            return state == SensorState::unknown ? kNaN : static_cast<double>(state);
        });
    table.add({stem + "_alive",
               title + " alive afterwards",
               "1",
               kCharge,
               0,
               "Neither dead nor stuck. No value: the record cannot say",
               {{0, "no"}, {1, "yes"}}},
              [part](Found f) { return (f.*part).alive(); });
    add("_offset", ", after − before", text.unit, text.decimals, &Survival::shift, text.shift);
    table.sigma([part](Found f) { return (f.*part).shift_sigma; }, text.decimals + 1);
    add("_shift_p", ": p of the shift", "1", 4, &Survival::shift_p, "Welch's t test of the means");
    add("_shift_effect", ": effect of the shift", "1", 2, &Survival::effect, "In standard deviations, Hedges' g");
    add("_least_shift", ": least shift that could be seen", text.unit, text.decimals + 1, &Survival::least_shift,
        "Found with a probability of 80 % at the level 0.05");
    add("_noise_ratio", ": noise, after over before", "1", 2, &Survival::noise_ratio, "Of the standard deviations");
    add("_noise_p", ": p of the noise", "1", 4, &Survival::noise_p, "Brown and Forsythe's test of the spreads");
}

void add_pulse(ChargeTable& table) {
    using F = ChargeFindings;
    add_seen(table, "pulse_seen", "Pressure pulse seen", &F::pulse_seen);
    add_time(table, "pulse_begins", "Pulse begins", &F::pulse_begins_s);
    add_time(table, "pulse_peak_at", "Pulse peaks", &F::pulse_peak_at_s);
    add_measured(
        table,
        {.name = "pulse_peak", .title = "Pulse", .unit = "Pa", .decimals = 0, .description = "Over what it was before"},
        &F::pulse_peak_pa, 0);
    add_time(table, "pulse_rise", "Pulse, rise", &F::pulse_rise_s, "From 10 % to 90 % of the peak");
    add_time(table, "pulse_decay", "Pulse, decay", &F::pulse_decay_s, "From the peak to 37 % of it");
    add_time(table, "pulse_duration", "Pulse, duration", &F::pulse_duration_s, "Above 10 % of the peak");
    add_seen(table, "barometer_back_seen", "Barometer back seen", &F::barometer_back_seen);
    add_time(table, "barometer_back", "Barometer back", &F::barometer_back_s, "At its earlier pressure for good");
}

void add_motion(ChargeTable& table) {
    using F = ChargeFindings;
    add_seen(table, "lid_off_seen", "Lid off seen", &F::lid_off_seen);
    add_time(table, "lid_off", "Lid off", &F::lid_off_s, "The shock of its release begins");
    add_seen(table, "line_taut_seen", "Line taut seen", &F::line_taut_seen);
    add_time(table, "line_taut", "Line taut", &F::line_taut_s, "Its snatch begins");
    add_time(table, "free_time", "Free time", &F::free_time_s, "From lid off to line taut");
    add_seen(table, "settled_seen", "Settled seen", &F::settled_seen);
    add_time(table, "settled", "Settled", &F::settled_s, "Turn rate below 10 % of its greatest for good");
    add_measured(table,
                 {.name = "shock",
                  .title = "Shock",
                  .unit = "m/s2",
                  .decimals = 0,
                  .description = "Greatest change of acceleration along the long axis"},
                 &F::shock_mps2, 1);
    add_figure(table, "saturated", "Saturated readings", "1", 0, &F::saturated, "Of the accelerometer, at its range");
    add_measured(table,
                 {.name = "turn_rate", .title = "Turn rate", .unit = "deg/s", .decimals = 0, .description = "Greatest"},
                 &F::turn_rate_radps, 1, kDegrees);
    add_measured(table,
                 {.name = "payload_turned",
                  .title = "Payload turned",
                  .unit = "deg",
                  .decimals = 0,
                  .description = "Farthest from how it lay before"},
                 &F::payload_turned_rad, 1, kDegrees);
}

ChargeTable charge_table(const std::string& name, const std::string& title) {
    using F = ChargeFindings;
    ChargeTable table("charge/" + name, title, 0);
    table.add(
        {"fired_sigma", "Firing, 1-sigma", "s", kCharge, 4, "Of the row's time"},
        [](Found f) { return f.fired_sigma_s; });
    table.add({"in_flight",
               "Fired in flight",
               "1",
               kCharge,
               0,
               "Or after it, late, until the vehicle is ready again or tested",
               {{0, "no"}, {1, "yes"}}},
              [](Found f) { return f.in_flight; });
    add_measured(table, {.name = "current_peak", .title = "Igniter current", .unit = "A"}, &F::current_peak_a, 2);
    add_pulse(table);
    add_motion(table);
    add_measured(table, {.name = "battery_least", .title = "Battery, least", .unit = "V"}, &F::battery_least_v, 3);
    add_measured(table, {.name = "battery_sag", .title = "Battery, sag", .unit = "V"}, &F::battery_sag_v, 3);
    add_seen(table, "battery_back_seen", "Battery back seen", &F::battery_back_seen);
    add_time(table, "battery_back", "Battery back", &F::battery_back_s, "Within 0.1 V of its earlier voltage for good");
    add_figure(table, "temperature", "Temperature", "K", 1, &F::temperature_k, "Before the firing");
    add_figure(table, "readings", "Readings", "1", 0, &F::readings,
               "Of inertial sensor and barometer, around the firing");
    add_figure(table, "readings_missed", "Readings missed", "1", 0, &F::readings_missed, "Of the same");
    add_figure(table, "longest_gap", "Longest gap", "s", 3, &F::longest_gap_s,
               "Without any reading, around the firing");
    add_figure(table, "packets_lost", "Packets lost", "1", 0, &F::packets_lost, "Around the firing");
    add_figure(table, "restarts", "Restarts", "1", 0, &F::restarts, "Of the flight computer, from the firing on");
    table.add({"edges_found", "Edges found", "1", kCharge, 0},
              [](Found f) { return static_cast<double>(edges_of(f).size()); });
    add_survival(table, {"barometer", "Barometer", "Pa", 0}, &F::barometer);
    add_survival(table,
                 {"accel", "Accelerometer", "m/s2", 2,
                  "Of the length of gravity, or of gravity where the gyro's turn does not explain its direction"},
                 &F::accelerometer);
    table.add({"accel_least_across", "Accelerometer: least offset across gravity that would be named", "m/s2", kCharge,
               2, "With a probability of 80 %; a smaller one the record cannot tell from a turn"},
              [](Found f) { return f.accelerometer.least_across; });
    add_survival(table, {"gyro", "Gyro", "rad/s", 4}, &F::gyro);
    return table;
}

} // namespace

std::vector<TableOf<ChargeFindings>> charge_tables(const Vehicle& vehicle) {
    std::vector<ChargeTable> out;
    const std::size_t charges = vehicle.rocket ? vehicle.rocket->parachutes.size() : 0;
    for (std::size_t k = 0; k < charges; ++k)
        out.push_back(
            charge_table(parachute_stem(*vehicle.rocket, k), "Charge: " + vehicle.rocket->parachutes[k].name));
    return out;
}

std::vector<NamedEdge> edges_of(const ChargeFindings& findings) {
    std::vector<NamedEdge> out;
    const auto add = [&](const char* name, const Measured& after_s) {
        if (std::isfinite(after_s.value)) out.push_back({name, after_s});
    };
    if (findings.by_current) add("current_begins", {0, findings.fired_sigma_s});
    add("pulse_begins", findings.pulse_begins_s);
    add("lid_off", findings.lid_off_s);
    add("line_taut", findings.line_taut_s);
    add("settled", findings.settled_s);
    add("barometer_back", findings.barometer_back_s);
    add("battery_back", findings.battery_back_s);
    return out;
}

} // namespace turnstone
