// Events: what each says, its key, and that its values survive being written down.
#include <algorithm>
#include <cmath>
#include <limits>
#include <set>
#include <sstream>
#include <string>

#include <catch2/catch.hpp>

#include "server/pipeline/events.hpp"
#include "shared/link_state.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;

namespace {

constexpr EventVehicle kVehicle{2, "sanderling"};

Event made(EventId id, std::string about, EventValues values, bool cleared = false) {
    return make_event({.id = id, .t_ns = 7, .about = std::move(about), .values = std::move(values), .cleared = cleared},
                      9, kVehicle);
}

} // namespace

TEST_CASE("an event says in English what its values are") {
    struct Case {
        EventId id;
        std::string about;
        EventValues values;
        bool cleared;
        std::string key, text;
    };
    using List = std::vector<std::string>;
    using enum EventId;
    const std::vector<Case> table{
        {liftoff, "", {}, false, "sanderling/flight/liftoff", "Liftoff"},
        {drogue_out, "", {}, false, "sanderling/flight/drogue_out", "Drogue out"},
        {phase_began,
         "on_the_rail",
         {{"phase", std::string("on the rail")}},
         false,
         "sanderling/phase/on_the_rail",
         "on the rail"},
        {signal_lost,
         "",
         {{"height_m", 320.4}, {"vertical_speed_mps", -45.2}, {"near_ground", false}},
         false,
         "sanderling/flight/signal_lost",
         "Loss of signal at 320 m AGL, descending 45 m/s; presumed down, time unknown"},
        {signal_lost,
         "",
         {{"height_m", 12.0}, {"vertical_speed_mps", -8.0}, {"near_ground", true}},
         false,
         "sanderling/flight/signal_lost",
         "Loss of signal at 12 m AGL, descending 8 m/s; presumed down"},
        {shock,
         "",
         {{"peak_mps2", 153.4}, {"duration_s", 0.0171}},
         false,
         "sanderling/pulse/acceleration",
         "Shock of 153 m/s² for 17 ms"},
        {sensor_frozen,
         "static_pressure",
         {},
         false,
         "sanderling/sensor/static_pressure/frozen",
         "Barometer frozen, ignored"},
        {sensor_frozen, "static_pressure", {}, true, "sanderling/sensor/static_pressure/frozen", "Barometer recovered"},
        {sensor_out_of_range,
         "accel_body_x",
         {},
         false,
         "sanderling/sensor/accel_body_x/out_of_range",
         "Accelerometer out of range, ignored"},
        {sensor_at_range,
         "accel_body_x",
         {},
         false,
         "sanderling/sensor/accel_body_x/at_range",
         "Accelerometer at its range: the true value is beyond it"},
        {joined_in_flight,
         "",
         {},
         false,
         "sanderling/flight/joined_in_flight",
         "In flight when first heard: liftoff not seen"},
        {pad_height_differs,
         "",
         {{"difference_m", -31.6}},
         false,
         "sanderling/sensor/fix/pad_height",
         "Fixes on the pad differ from the site's pad height by -32 m, taken off"},
        {estimate_missing,
         "air",
         {{"estimate", std::string("air")}, {"needs", List{"static_pressure"}}, {"any", false}},
         false,
         "sanderling/missing/air",
         "No air-data estimate: needs static pressure"},
        {estimate_missing,
         "vertical",
         {{"needs", List{"accel_body_x", "static_pressure"}}, {"any", true}},
         false,
         "sanderling/missing/vertical",
         "No vertical estimate: needs axial acceleration or static pressure"},
        {estimate_missing,
         "navigation",
         {{"needs", List{"rate_body_x", "rate_body_y", "rate_body_z"}}, {"any", false}},
         false,
         "sanderling/missing/navigation",
         "No navigation estimate: needs roll rate, turn rate about body y and turn rate about body z"},
        {reboot, "", {{"boot", 1.0}}, false, "sanderling/reboot", "Flight computer rebooted"},
        {clock_jump, "", {}, false, "sanderling/clock/jump", "On-board clock jumped; time correlation restarted"},
        {station_clock_off,
         "",
         {{"ahead_s", 3.24}, {"bound_s", 0.2}},
         false,
         "sanderling/clock/station",
         "This computer's clock is 3.2 s ahead of GNSS time"},
        {station_clock_off,
         "",
         {{"ahead_s", 0.1}, {"bound_s", 0.2}},
         true,
         "sanderling/clock/station",
         "This computer's clock agrees with GNSS time again"},
        {engine_total,
         "",
         {{"running_s", 5400.0}},
         false,
         "sanderling/engine/total",
         "Engine hours continue from 1.50 h"},
        {link_down,
         "radio",
         {{"state", std::string("no_data")}, {"detail", std::string()}},
         false,
         "link/radio/down",
         "Link radio: no data"},
        {link_state,
         "radio",
         {{"state", std::string("cannot_open")}, {"detail", std::string("no such port")}},
         false,
         "link/radio/state",
         "Link radio: cannot open: no such port"},
        {recording_fault,
         "",
         {{"fault", std::string("the disk is full")}},
         false,
         "recording/fault",
         "Recording fault: the disk is full"},
        {recording_fault, "", {{"fault", std::string()}}, true, "recording/fault", "Recording restored"},
        {recording_trouble,
         "",
         {{"fault", std::string("the disk is too slow")}},
         false,
         "recording/trouble",
         "Recording: the disk is too slow"},
        {publishing_trouble,
         "",
         {{"fault", std::string("the broker is away")}},
         false,
         "station/publishing",
         "Publishing: the broker is away"},
        {publishing_trouble, "", {{"fault", std::string()}}, true, "station/publishing", "Publishing goes on"},
        {site_clock_off,
         "hill",
         {{"link", std::string("hill")}, {"lead_most_s", 3.24}},
         false,
         "link/hill/clock",
         "The clock of the station behind link hill is up to 3.2 s behind this one's, or its messages are that slow"},
        {site_clock_off,
         "hill",
         {{"link", std::string("hill")}, {"lead_most_s", -2.0}},
         false,
         "link/hill/clock",
         "The clock of the station behind link hill is at least 2.0 s ahead of this one's"},
        {site_clock_off,
         "hill",
         {{"link", std::string("hill")}, {"lead_most_s", 0.1}},
         true,
         "link/hill/clock",
         "The clock of the station behind link hill agrees again"},
        {estimates_behind, "", {}, true, "station/behind", "Estimates keep up again"},
        {landing_outside_boundary,
         "",
         {{"outside", 0.126}},
         false,
         "sanderling/estimate/landing/outside_boundary",
         "13 % of predicted landings are outside the boundary"},
        {landing_case_outside,
         "no_parachute",
         {{"case", std::string("no_parachute")}, {"probability", 0.02}, {"outside", 0.98}},
         false,
         "sanderling/estimate/landing/outside_boundary/no_parachute",
         "Should it come to \"no parachute (ballistic)\" (2.0 % likely), 98 % of landings are outside the boundary"},
        {predictions_refused,
         "",
         {{"why", std::string("too_high")}, {"altitude_m", 33400.0}},
         false,
         "sanderling/estimate/predictions/refused",
         "No predictions: 33 km is beyond the air they know"},
        {predictions_refused,
         "",
         {{"why", std::string("state_unknown")}},
         false,
         "sanderling/estimate/predictions/refused",
         "No predictions: altitude or speed is not known well enough"},
        {predictions_refused,
         "",
         {{"why", std::string("none")}},
         true,
         "sanderling/estimate/predictions/refused",
         "Predictions go on"},
        {limit,
         "bay.temperature/high",
         {{"title", std::string("Bay temperature")},
          {"side", std::string("high")},
          {"value", 340.62},
          {"limit", 338.15},
          {"unit", std::string("K")},
          {"decimals", 1.0}},
         false,
         "sanderling/limit/bay.temperature/high",
         "Bay temperature high: 67.5 °C, limit 65.0 °C"},
        {limit,
         "health.free_storage/low",
         {{"title", std::string("Free storage")},
          {"side", std::string("low")},
          {"value", 49'872'896.0},
          {"limit", 50'000'000.0},
          {"unit", std::string("By")},
          {"decimals", 0.0}},
         false,
         "sanderling/limit/health.free_storage/low",
         "Free storage low: 49.9 MB, limit 50.0 MB"},
        // pi rad/s are 180 degrees per second, as below.
        {limit,
         "imu.roll/high",
         {{"title", std::string("Roll rate")},
          {"side", std::string("high")},
          {"value", 6.2831853},
          {"limit", 3.14159265},
          {"unit", std::string("rad/s")},
          {"decimals", 3.0}},
         false,
         "sanderling/limit/imu.roll/high",
         "Roll rate high: 360.0 °/s, limit 180.0 °/s"},
        {limit,
         "imu.roll/rate",
         {{"title", std::string("Roll rate")},
          {"side", std::string("rate")},
          {"value", 6.2831853},
          {"limit", 3.14159265},
          {"unit", std::string("rad/s")},
          {"decimals", 3.0}},
         false,
         "sanderling/limit/imu.roll/rate",
         "Roll rate changes by 360 °/s², limit 180"},
        {unexpected_state,
         "health.igniter",
         {{"title", std::string("Igniter")}, {"state", std::string("open")}, {"expected", List{"good", "fired"}}},
         false,
         "sanderling/state/health.igniter",
         "Igniter is open, expected good or fired"},
        {heavy_loss,
         "",
         {{"loss", 0.634}, {"over_s", 5.0}, {"link", std::string("radio")}, {"best_of_several", true}},
         false,
         "sanderling/link/heavy_loss",
         "63 % of packets lost over 5 s on the best link"},
        {rebooted,
         "",
         {},
         false,
         "sanderling/rebooted",
         "Flight computer rebooted: what it knew of the flight may be lost"},
        {link_trouble,
         "radio",
         {{"cause", std::string("frames_repeat")}, {"apid", 20.0}, {"packets", 61.0}, {"for_s", 6.0}},
         false,
         "link/radio/trouble",
         "Link radio: the same frame (APID 20) 61 times over 6 s, and no other"},
        {marker, "7", {{"text", std::string("here")}}, false, "marker/7", "here"},
        {note, "8", {{"text", std::string("gone")}, {"taken_back", true}}, false, "note/8", "Taken back: gone"},
        {flight_named,
         "",
         {{"name", std::string("Second hop")}},
         false,
         "sanderling/flight/flight_named",
         "Flight named \"Second hop\""},
        {flight_described,
         "",
         {{"notes", std::string("camera on")}},
         false,
         "sanderling/flight/flight_described",
         "Notes, tags or configuration of the flight changed"},
        {procedure_begun,
         "bench",
         {{"title", std::string("Bench check")}, {"by", std::string("KL")}, {"run", 3.0}},
         false,
         "sanderling/procedure/bench/begun",
         "Bench check begun, run 3 (KL)"},
        {step_waived,
         "bench/look",
         {{"title", std::string("Look")}, {"by", std::string("KL")}, {"note", std::string("no charge")}},
         false,
         "sanderling/procedure/bench/look/waived",
         "Waived: Look (KL): no charge"},
        {check_decided,
         "bench/battery",
         {{"title", std::string("Battery")},
          {"state", std::string("fails")},
          {"measured", 6.9},
          {"required", std::string("≥ 7.60 V")},
          {"unit", std::string("V")},
          {"decimals", 2.0},
          {"why", std::string()}},
         false,
         "sanderling/check/bench/battery",
         "Battery: fails, 6.90 V, required ≥ 7.60 V"},
        // pi / 4 radians are 45 degrees, by definition of the degree (SI Brochure, 9th edition, table 8).
        {check_decided,
         "bench/roll",
         {{"title", std::string("Roll rate")},
          {"state", std::string("fails")},
          {"measured", 0.78539816},
          {"required", std::string("± 2.86 °/s")},
          {"unit", std::string("rad/s")},
          {"decimals", 3.0},
          {"why", std::string()}},
         false,
         "sanderling/check/bench/roll",
         "Roll rate: fails, 45.0 °/s, required ± 2.86 °/s"},
        {check_decided,
         "readiness/link_loss",
         {{"title", std::string("Packets lost")},
          {"state", std::string("fails")},
          {"measured", 0.0634},
          {"required", std::string("≤ 5 %")},
          {"unit", std::string("{fraction}")},
          {"decimals", 3.0},
          {"why", std::string()}},
         false,
         "sanderling/check/readiness/link_loss",
         "Packets lost: fails, 6.3 %, required ≤ 5 %"},
        {check_decided,
         "readiness/range",
         {{"title", std::string("Range clear")},
          {"state", std::string("not_evaluated")},
          {"required", std::string("confirmed")},
          {"why", std::string("nobody has confirmed it yet")}},
         false,
         "sanderling/check/readiness/range",
         "Range clear: not evaluated, required confirmed (nobody has confirmed it yet)"},
        {poll_answered,
         "weather",
         {{"title", std::string("Weather")}, {"go", false}, {"by", std::string("KL")}, {"note", std::string("gusts")}},
         false,
         "poll/weather/answered",
         "Weather: no-go (KL: gusts)"},
        {entered,
         "wind_gust_mps",
         {{"title", std::string("Wind gust")}, {"value", 9.4}, {"unit", std::string("m/s")}, {"by", std::string("KL")}},
         false,
         "entered/wind_gust_mps",
         "Wind gust: 9.4 m/s entered (KL)"},
        {not_ready,
         "",
         {{"reasons", List{"Battery: fails", "Weather: no-go"}}},
         false,
         "sanderling/readiness/not_ready",
         "Not ready: Battery: fails; Weather: no-go"},
        {edge_found,
         "drogue/lid_off",
         {{"charge", std::string("drogue")},
          {"edge", std::string("lid_off")},
          {"after_s", 0.0214},
          {"sigma_s", 0.0008}},
         false,
         "sanderling/charge/drogue/lid_off",
         "drogue: lid off after 21 ± 0.8 ms"},
    };
    for (const Case& one : table) {
        const Event event = made(one.id, one.about, one.values, one.cleared);
        CHECK(event.id == one.id);
        CHECK(event.key == one.key);
        CHECK(event.text == one.text);
        CHECK(event.vehicle == 2);
        CHECK(event.t_ns == 7);
        CHECK(event.t_found_ns == 9);
    }
}

TEST_CASE("a link's sentence says the states of the stream's specification, in their words") {
    std::istringstream lines(test::read_file(test::source_path("protocol/STREAM.md")));
    std::string line;
    while (std::getline(lines, line) && line != "| state | meaning |") {
    }
    std::getline(lines, line); // the rule below the heading
    std::size_t states = 0;
    while (std::getline(lines, line) && line.rfind("| `", 0) == 0) {
        const std::string state = line.substr(3, line.find('`', 3) - 3);
        INFO(state);
        REQUIRE(from_word<LinkState>(state) == static_cast<LinkState>(states++));
        std::string words = state;
        std::replace(words.begin(), words.end(), '_', ' ');
        for (const EventId id : {EventId::link_state, EventId::link_down})
            CHECK(made(id, "radio", {{"state", state}}).text == "Link radio: " + words);
    }
    CHECK(states == kWords<LinkState>.size());
}

TEST_CASE("every event has a key and a sentence, also without its values") {
    std::set<std::string> keys;
    for (std::size_t i = 0; i < kWords<EventId>.size(); ++i) {
        const auto id = static_cast<EventId>(i);
        INFO(word(id));
        for (const bool cleared : {false, true}) {
            const Event event = made(id, "thing", {}, cleared);
            CHECK(event.key.find_first_of("{}") == std::string::npos);
            CHECK((event.kind == EventKind::alert_cleared) == cleared);
            const bool is_given = id == EventId::marker || id == EventId::note || id == EventId::phase_began ||
                                  id == EventId::sentence; // by whoever raises it
            if (!is_given) CHECK(!event.text.empty());
        }
        CHECK(keys.insert(made(id, "thing", {}).key).second);
    }
}

TEST_CASE("values written as JSON read back bit for bit") {
    const double tiny = std::numeric_limits<double>::denorm_min();
    const EventValues values{{"third", 1.0 / 3.0},
                             {"tiny", tiny},
                             {"huge", -1.7976931348623157e308},
                             {"zero", 0.0},
                             {"minus_zero", -0.0},
                             {"whole", 1e15},
                             {"yes", true},
                             {"text", std::string("a \"b\" \\ \n \xc2\xb5")},
                             {"empty", std::string()},
                             {"list", std::vector<std::string>{"x", ""}},
                             {"none", std::vector<std::string>{}}};
    const EventValues back = event_values_from_json(to_json(values));
    REQUIRE(back == values);
    CHECK(std::signbit(std::get<double>(back[4].value)));
    for (const char* other : {"", "null", "[1]", "\"x\"", "{\"a\":", "{\"a\":null,\"b\":{},\"c\":[1]}"})
        CHECK(event_values_from_json(other).empty());
}

TEST_CASE("a number that is not finite has no value") {
    const Event event = made(
        EventId::shock, "",
        {{"peak_mps2", 3.0}, {"axial_peak_mps2", std::nan("")}, {"rise_s", std::numeric_limits<double>::infinity()}});
    CHECK(event.values == EventValues{{"peak_mps2", 3.0}});
    CHECK(to_json(event.values) == R"({"peak_mps2":3.0})");
}
