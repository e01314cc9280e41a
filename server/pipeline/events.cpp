#include "server/pipeline/events.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/pipeline/event_sentences.hpp"

namespace turnstone {

namespace {

using namespace sentences;

struct Definition {
    EventId id;
    std::string_view key; ///< {vehicle}: its name; {event}: the id's word; {about}: EstimateEvent::about
    EventKind kind;
    Level level;
    std::string (*says)(const Facts&);
    // Of alerts
    std::string (*says_cleared)(const Facts&) = nullptr;
    std::string (*advises)(const Facts&) = nullptr; ///< what to do
};

template <std::size_t n>
struct Text {
    char bytes[n];
    consteval Text(const char (&text)[n]) { std::copy_n(text, n, bytes); } // NOLINT(google-explicit-constructor)
};
/// An event that always says the same.
template <Text text>
std::string say(const Facts&) {
    return text.bytes;
}

using enum EventKind;
constexpr std::array<Definition, kWords<EventId>.size()> kEvents{{
    {EventId::phase_began, "{vehicle}/phase/{about}", phase, Level::note,
     [](const Facts& f) { return f.text("phase"); }},
    {EventId::liftoff, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Liftoff">},
    {EventId::burnout, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Burnout">},
    {EventId::apogee, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Apogee">},
    {EventId::drogue_out, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Drogue out">},
    {EventId::main_out, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Main out">},
    {EventId::touchdown, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Touchdown">},
    {EventId::false_liftoff, "{vehicle}/flight/{event}", flight_event, Level::note,
     say<"False liftoff withdrawn: at rest on the rail">},
    {EventId::signal_lost, "{vehicle}/flight/{event}", flight_event, Level::note, signal_lost},
    {EventId::signal_reacquired, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Signal reacquired">},
    {EventId::joined_in_flight, "{vehicle}/flight/{event}", flight_event, Level::advisory,
     say<"In flight when first heard: liftoff not seen">},
    {EventId::ready_again, "{vehicle}/flight/{event}", flight_event, Level::note,
     say<"At rest after touchdown: ready for another flight">},
    {EventId::flight_named, "{vehicle}/flight/{event}", flight_event, Level::note,
     [](const Facts& f) {
         return f.text("name").empty() ? "The flight has no name" : fmt::format("Flight named \"{}\"", f.text("name"));
     }},
    {EventId::flight_described, "{vehicle}/flight/{event}", flight_event, Level::note,
     say<"Notes, tags or configuration of the flight changed">},
    {EventId::shock, "{vehicle}/pulse/acceleration", flight_event, Level::note,
     [](const Facts& f) {
         return fmt::format("Shock of {:.0f} m/s² for {:.0f} ms", f.number("peak_mps2"), 1e3 * f.number("duration_s"));
     }},
    {EventId::pressure_pulse, "{vehicle}/pulse/pressure", flight_event, Level::note,
     [](const Facts& f) {
         return fmt::format("Pressure pulse of {:+.0f} Pa for {:.0f} ms", f.number("peak_pa"),
                            1e3 * f.number("duration_s"));
     }},
    {EventId::sensor_out_of_range, "{vehicle}/sensor/{about}/out_of_range", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " out of range, ignored"; },
     [](const Facts& f) { return sensor(f) + " recovered"; },
     say<"On the rail: check its wiring and its scaling. In flight: trust the other sensors">},
    {EventId::sensor_frozen, "{vehicle}/sensor/{about}/frozen", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " frozen, ignored"; },
     [](const Facts& f) { return sensor(f) + " recovered"; },
     say<"On the rail: restart the flight computer and look again. In flight: trust the other sensors">},
    {EventId::sensor_silent, "{vehicle}/sensor/{about}/silent", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " silent while other sensors report"; },
     [](const Facts& f) { return sensor(f) + " recovered"; },
     say<"On the rail: check that the sensor is connected and sent. In flight: trust the other sensors">},
    {EventId::sensor_at_range, "{vehicle}/sensor/{about}/at_range", alert_raised, Level::advisory,
     [](const Facts& f) { return sensor(f) + " at its range: the true value is beyond it"; },
     [](const Facts& f) { return sensor(f) + " within its range again"; }, say<"Take its peaks as lower bounds">},
    {EventId::barometer_stuck, "{vehicle}/sensor/static_pressure/stuck", alert_raised, Level::caution,
     say<"Barometer stuck while the accelerometer shows a climb: pressure altitude ignored">,
     say<"Barometer recovered">, say<"Expect parachutes that open by pressure to fail: keep heads up">},
    {EventId::pad_pressure_differs, "{vehicle}/sensor/static_pressure/pad_pressure", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("Barometer differs from the site's pad pressure by {:+.0f} Pa", f.number("difference_pa"));
     },
     nullptr, say<"Check the site file, then the sensor">},
    {EventId::pad_height_differs, "{vehicle}/sensor/fix/pad_height", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("Fixes on the pad differ from the site's pad height by {:+.0f} m, taken off",
                            f.number("difference_m"));
     },
     nullptr, say<"Check whether one of the two is above the ellipsoid and the other above sea level">},
    {EventId::estimate_missing, "{vehicle}/missing/{about}", recording, Level::note, estimate_missing},
    {EventId::vertical_restarted, "{vehicle}/estimate/vertical/restarted", flight_event, Level::note,
     say<"Vertical filter restarted from the barometer">},
    {EventId::dead_reckoning, "{vehicle}/estimate/navigation/dead_reckoning", flight_event, Level::note,
     say<"No usable GNSS fix: dead reckoning, position uncertainty grows">},
    {EventId::gnss_aided, "{vehicle}/estimate/navigation/aided", flight_event, Level::note, say<"GNSS fixes in use">},
    {EventId::attitude_lost, "{vehicle}/estimate/navigation/lost", flight_event, Level::note,
     say<"Attitude lost: position and vertical motion go on without it">},
    {EventId::flat_ground, "{vehicle}/estimate/landing/flat_ground", flight_event, Level::note,
     say<"Landing predictions assume flat ground at pad height: the site file has no height grid">},
    {EventId::wind_unknown, "{vehicle}/estimate/landing/wind_unknown", flight_event, Level::advisory,
     say<"Landing predictions assume no wind: add a wind table to the site file">},
    {EventId::landing_outside_boundary, "{vehicle}/estimate/landing/outside_boundary", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("{:.0f} % of predicted landings are outside the boundary", 100 * f.number("outside"));
     },
     say<"Predicted landings are inside the boundary again">,
     say<"Tell the range safety officer, who decides. An estimate, not a safety system">},
    {EventId::landing_case_outside, "{vehicle}/estimate/landing/outside_boundary/{about}", alert_raised,
     Level::advisory,
     [](const Facts& f) {
         return fmt::format("Should it come to \"{}\" ({:.1f} % likely), {:.0f} % of landings are outside the boundary",
                            landing_case(f), 100 * f.number("probability"), 100 * f.number("outside"));
     },
     [](const Facts& f) {
         return fmt::format("Landings of the case \"{}\" are inside the boundary again, or it is ruled out",
                            landing_case(f));
     },
     say<"Tell the range safety officer, who decides. An estimate, not a safety system">},
    {EventId::predictions_refused, "{vehicle}/estimate/predictions/refused", alert_raised, Level::advisory,
     predictions_refused, say<"Predictions go on">,
     say<"Go by position and vertical speed: there is no predicted apogee or landing">},
    {EventId::no_parachute, "{vehicle}/descent/{event}", alert_raised, Level::warning,
     [](const Facts& f) {
         return fmt::format("No parachute seen: {:.0f} m AGL, falling {:.0f} m/s", f.number("altitude_m"),
                            f.number("fall_rate_mps"));
     },
     [](const Facts& f) -> std::string {
         return f.flag("silent") ? "No parachute was seen before the signal was lost"
                                 : "A parachute is seen, or the flight is over";
     },
     say<"Call heads up, keep everyone in sight of it, and clear the place of impact">},
    {EventId::parachute_late, "{vehicle}/descent/{event}/{about}", alert_raised, Level::caution,
     [](const Facts& f) { return fmt::format("{} late by {:.0f} s", parachute(f), f.number("late_s")); },
     [](const Facts& f) { return parachute(f) + " no longer late"; }, say<"Call heads up and watch the fall rate">},
    {EventId::parachute_partial, "{vehicle}/descent/{event}/{about}", alert_raised, Level::caution,
     [](const Facts& f) {
         return fmt::format("Falling {:.0f} m/s under {}, expected at most {:.0f} m/s", f.number("fall_rate_mps"),
                            f.about(), f.number("expected_mps"));
     },
     [](const Facts& f) { return "Fall rate under " + f.about() + " as expected"; },
     say<"Call heads up: it may be tangled or torn, and comes down early and hard">},
    {EventId::impact_expected, "{vehicle}/descent/{event}", alert_raised, Level::warning, impact_expected, impact_over,
     say<"Clear that place at once and call heads up">},
    {EventId::attitude_unknown, "{vehicle}/estimate/navigation/attitude_unknown", alert_raised, Level::caution,
     say<"Attitude unknown">, say<"Attitude known again">,
     say<"Do not go by tilt and roll; position and vertical motion go on without them">},
    {EventId::no_fix_at_liftoff, "{vehicle}/sensor/fix/none_at_liftoff", alert_raised, Level::caution,
     say<"No GNSS fix since liftoff">, say<"GNSS fixes in use">,
     say<"Follow it by eye: where it lands is known only roughly until a fix comes">},
    {EventId::position_lost, "{vehicle}/estimate/navigation/position_lost", alert_raised, Level::caution,
     [](const Facts& f) { return fmt::format("Position lost: no fix for {:.0f} s", f.number("for_s")); },
     say<"Position known again">, say<"Follow it by eye and go by the last good place">},
    {EventId::sentence, "{vehicle}/sentence", EventKind::sentence, Level::note, nullptr},
    {EventId::limit, "{vehicle}/limit/{about}", alert_raised, Level::caution, limit,
     [](const Facts& f) { return f.text("title") + " within its limits again"; }},
    {EventId::channel_stuck, "{vehicle}/stuck/{about}", alert_raised, Level::caution,
     [](const Facts& f) { return fmt::format("{} stuck for {:.0f} s", f.text("title"), f.number("for_s")); },
     [](const Facts& f) { return f.text("title") + " changes again"; },
     say<"Check the sensor and the program that sends it">},
    {EventId::channel_stale, "{vehicle}/stale/{about}", alert_raised, Level::caution,
     [](const Facts& f) { return fmt::format("{} not received for {:.0f} s", f.text("title"), f.number("for_s")); },
     [](const Facts& f) { return f.text("title") + " received again"; },
     say<"Check the link first, then the program that sends it">},
    {EventId::unexpected_state, "{vehicle}/state/{about}", alert_raised, Level::caution, unexpected_state,
     [](const Facts& f) { return f.text("title") + " as expected again"; },
     say<"Find out why before anything goes on">},
    {EventId::reboot, "{vehicle}/reboot", EventKind::reboot, Level::note, say<"Flight computer rebooted">},
    {EventId::rebooted, "{vehicle}/rebooted", alert_raised, Level::caution,
     say<"Flight computer rebooted: what it knew of the flight may be lost">, say<"Reboot seen by an operator">,
     say<"On the rail: find the cause before flight. In flight: do not count on its parachutes">},
    {EventId::clock_jump, "{vehicle}/clock/jump", flight_event, Level::advisory,
     say<"On-board clock jumped; time correlation restarted">},
    {EventId::station_clock_off, "{vehicle}/clock/station", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("This computer's clock is {:.1f} s {} GNSS time", std::abs(f.number("ahead_s")),
                            f.number("ahead_s") > 0 ? "ahead of" : "behind");
     },
     say<"This computer's clock agrees with GNSS time again">, say<"Set this computer's clock before times matter">},
    {EventId::engine_total, "{vehicle}/engine/total", recording, Level::note,
     [](const Facts& f) { return fmt::format("Engine hours continue from {:.2f} h", f.number("running_s") / 3600); }},
    {EventId::link_state, "link/{about}/state", EventKind::link_state, Level::note, link_is},
    {EventId::link_down, "link/{about}/down", alert_raised, Level::caution, link_is, link_is,
     say<"Check the receiver, its cable and its antenna">},
    {EventId::link_trouble, "link/{about}/trouble", alert_raised, Level::caution, link_trouble, link_trouble_over,
     link_trouble_advice},
    {EventId::site_clock_off, "link/{about}/clock", alert_raised, Level::advisory,
     [](const Facts& f) {
         const double lead_s = f.number("lead_most_s");
         return lead_s < 0
                    ? fmt::format("The clock of the station behind link {} is at least {:.1f} s ahead of this one's",
                                  f.text("link"), -lead_s)
                    : fmt::format("The clock of the station behind link {} is up to {:.1f} s behind this one's, or its "
                                  "messages are that slow",
                                  f.text("link"), lead_s);
     },
     [](const Facts& f) { return fmt::format("The clock of the station behind link {} agrees again", f.text("link")); },
     say<"Set the clocks of both stations before times matter">},
    {EventId::heavy_loss, "{vehicle}/link/{event}", alert_raised, Level::caution,
     [](const Facts& f) {
         return fmt::format("{:.0f} % of packets lost over {:.0f} s{}", 100 * f.number("loss"), f.number("over_s"),
                            f.flag("best_of_several") ? " on the best link" : "");
     },
     say<"Packets come through again">, say<"Point the antenna at the vehicle and raise it">},
    {EventId::recording_fault, "recording/fault", alert_raised, Level::warning,
     [](const Facts& f) { return "Recording fault: " + f.text("fault"); }, say<"Recording restored">,
     say<"Nothing new is kept: free space on the disk or reconnect it before flight">},
    {EventId::recording_trouble, "recording/trouble", alert_raised, Level::caution,
     [](const Facts& f) { return "Recording: " + f.text("fault"); }, say<"Recording keeps up again">,
     say<"Free space on the disk and close programs that write to it">},
    {EventId::publishing_trouble, "station/publishing", alert_raised, Level::caution,
     [](const Facts& f) { return "Publishing: " + f.text("fault"); }, say<"Publishing goes on">,
     say<"Look at the network and the broker; what waits is in the recording">},
    {EventId::estimates_behind, "station/behind", alert_raised, Level::caution,
     [](const Facts& f) {
         return fmt::format("This computer is too slow: estimates {:.1f} s behind, no predictions",
                            f.number("behind_s"));
     },
     say<"Estimates keep up again">, say<"Close other programs on this computer">},
    {EventId::station_resumed, "station/resumed", recording, Level::advisory,
     [](const Facts& f) {
         return fmt::format("The station was down for {:.1f} s; this recording continues", f.number("down_s"));
     }},
    {EventId::countdown_runs, "countdown/runs", EventKind::countdown, Level::note,
     [](const Facts& f) { return "Countdown runs at " + before_zero(f.number("left_s")); }},
    {EventId::countdown_held, "countdown/held", EventKind::countdown, Level::note,
     [](const Facts& f) {
         const std::string why = f.text("reason");
         return "Countdown held at " + before_zero(f.number("left_s")) + (why.empty() ? "" : ": " + why);
     }},
    {EventId::countdown_off, "countdown/off", EventKind::countdown, Level::note, say<"Countdown removed">},
    {EventId::liftoff_against_countdown, "countdown/liftoff", EventKind::countdown, Level::note,
     [](const Facts& f) {
         const double late_s = f.number("late_s");
         return fmt::format("Liftoff {:.1f} s {} T-0 of the countdown", std::abs(late_s),
                            late_s < 0 ? "before" : "after");
     }},
    {EventId::operator_unlocked, "operators/unlocked", EventKind::operators, Level::note,
     [](const Facts& f) { return "An operator unlocked: " + devices_that_may_act(f); }},
    {EventId::operator_handed_over, "operators/handed_over", EventKind::operators, Level::note,
     say<"An operator handed over to another device">},
    {EventId::operator_left, "operators/left", EventKind::operators, Level::note,
     [](const Facts& f) { return "An operator left: " + devices_that_may_act(f); }},
    {EventId::marker, "marker/{about}", EventKind::marker, Level::note, mark},
    {EventId::note, "note/{about}", EventKind::note, Level::note, mark},
    {EventId::charge_fired, "{vehicle}/charge/{about}/fired", flight_event, Level::note,
     [](const Facts& f) { return "Charge " + f.text("charge") + " fired"; }},
    {EventId::edge_found, "{vehicle}/charge/{about}", flight_event, Level::note,
     [](const Facts& f) {
         std::string edge = f.text("edge");
         std::replace(edge.begin(), edge.end(), '_', ' ');
         return fmt::format("{}: {} after {:.0f} ± {:.1f} ms", f.text("charge"), edge, 1e3 * f.number("after_s"),
                            1e3 * f.number("sigma_s"));
     }},
    {EventId::procedure_begun, "{vehicle}/procedure/{about}/begun", procedure, Level::note,
     [](const Facts& f) {
         return fmt::format("{} begun, run {:.0f} ({})", f.text("title"), f.number("run"), f.text("by"));
     }},
    {EventId::step_done, "{vehicle}/procedure/{about}/done", procedure, Level::note,
     [](const Facts& f) {
         const std::string by = f.text("by");
         return "Done: " + f.text("title") + (by.empty() ? "" : " (" + by + ")");
     }},
    {EventId::step_waived, "{vehicle}/procedure/{about}/waived", procedure, Level::note,
     [](const Facts& f) { return fmt::format("Waived: {} ({}): {}", f.text("title"), f.text("by"), f.text("note")); }},
    {EventId::step_repeated, "{vehicle}/procedure/{about}/repeated", procedure, Level::note,
     [](const Facts& f) { return fmt::format("Repeated: {} ({})", f.text("title"), f.text("by")); }},
    {EventId::step_held, "{vehicle}/procedure/{about}/held", procedure, Level::note,
     [](const Facts& f) { return fmt::format("Hold at {}: {}", f.text("title"), fmt::join(f.list("reasons"), "; ")); }},
    {EventId::procedure_ended, "{vehicle}/procedure/{about}/ended", procedure, Level::note, procedure_ended},
    {EventId::check_decided, "{vehicle}/check/{about}", procedure, Level::note, check_decided},
    {EventId::statement, "{vehicle}/statement/{about}", procedure, Level::note, statement},
    {EventId::past_procedure, "{vehicle}/procedure/{about}/past", recording, Level::note, past_procedure},
    {EventId::poll_asked, "poll/{about}/asked", readiness, Level::note,
     [](const Facts& f) { return f.text("title") + " asked"; }},
    {EventId::poll_answered, "poll/{about}/answered", readiness, Level::note, poll_answered},
    {EventId::entered, "entered/{about}", readiness, Level::note, entered},
    {EventId::ready, "{vehicle}/readiness/{event}", readiness, Level::note,
     say<"Ready: every must-check holds, every position says go">},
    {EventId::not_ready, "{vehicle}/readiness/{event}", readiness, Level::note, not_ready},
    {EventId::readiness_at_liftoff, "{vehicle}/readiness/{event}", readiness, Level::note, readiness_at_liftoff},
}};

consteval bool in_order() {
    for (std::size_t i = 0; i < kEvents.size(); ++i)
        if (static_cast<std::size_t>(kEvents[i].id) != i) return false;
    return true;
}
static_assert(in_order(), "kEvents is indexed by EventId");

} // namespace

Event make_event(EstimateEvent happened, std::int64_t t_found_ns, const EventVehicle& vehicle) {
    const Definition& definition = kEvents[static_cast<std::size_t>(happened.id)];
    std::erase_if(happened.values, [](const EventValue& value) {
        const double* number = std::get_if<double>(&value.value);
        return number != nullptr && !std::isfinite(*number);
    });
    const Facts facts(happened);
    Event event;
    event.id = happened.id;
    event.t_ns = happened.t_ns;
    event.t_found_ns = t_found_ns;
    event.t_sigma_s = happened.t_sigma_s;
    event.kind = happened.cleared ? alert_cleared : definition.kind;
    event.level = happened.level.value_or(definition.level);
    event.vehicle = vehicle.index;
    event.key = fmt::format(fmt::runtime(definition.key), fmt::arg("vehicle", vehicle.name),
                            fmt::arg("event", word(happened.id)), fmt::arg("about", happened.about));
    const auto said = happened.cleared && definition.says_cleared ? definition.says_cleared : definition.says;
    event.text = said != nullptr && happened.text.empty() ? said(facts) : std::move(happened.text);
    if (event.kind == alert_raised)
        event.advice = definition.advises != nullptr && happened.advice.empty() ? definition.advises(facts)
                                                                                : std::move(happened.advice);
    event.values = std::move(happened.values);
    return event;
}

Event event_of_alert(const Event& raised, EventKind kind, std::int64_t t_ns, EventValues values) {
    Event event = raised;
    event.kind = kind;
    event.t_ns = event.t_found_ns = t_ns;
    event.t_sigma_s = 0;
    event.values = std::move(values);
    event.advice.clear();
    if (kind == alert_acknowledged) event.text = "Acknowledged: " + raised.text;
    if (kind == alert_unshelved) event.text = "No longer shelved: " + raised.text;
    if (kind == alert_shelved)
        for (const EventValue& value : event.values)
            if (const double* for_s = std::get_if<double>(&value.value))
                event.text = fmt::format("Shelved for {:.0f} s: {}", *for_s, raised.text);
    return event;
}

bool follows_from_predictions(const Event& event) noexcept {
    return event.id == EventId::landing_outside_boundary || event.id == EventId::landing_case_outside ||
           event.id == EventId::impact_expected || event.id == EventId::sentence ||
           std::ranges::find(event.values, EventValue{"predicted", true}) != event.values.end();
}

std::string to_json(const EventValues& values) {
    nlohmann::ordered_json json = nlohmann::ordered_json::object();
    for (const EventValue& value : values) std::visit([&](const auto& is) { json[value.name] = is; }, value.value);
    return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

EventValues event_values_from_json(std::string_view text) {
    EventValues values;
    const auto json = nlohmann::ordered_json::parse(text, nullptr, false);
    if (!json.is_object()) return values;
    for (const auto& [name, is] : json.items())
        if (is.is_number())
            values.push_back({name, is.template get<double>()});
        else if (is.is_boolean())
            values.push_back({name, is.template get<bool>()});
        else if (is.is_string())
            values.push_back({name, is.template get<std::string>()});
        else if (is.is_array() && std::all_of(is.begin(), is.end(), [](const auto& part) { return part.is_string(); }))
            values.push_back({name, is.template get<std::vector<std::string>>()});
    return values;
}

} // namespace turnstone
