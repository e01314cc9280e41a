#pragma once
/// Something that happened: phases, flight events, link states, alerts, markers. Estimators say what happened and give
/// values; server/pipeline/events.cpp adds key, level and sentence.
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "shared/words.hpp"

namespace turnstone {

/// Alert levels of 14 CFR 25.1322; `note` is everything that is not an alert.
enum class Level : unsigned char { note, advisory, caution, warning };
consteval auto words_of(Level) {
    return words<Level::warning>("note", "advisory", "caution", "warning");
}

enum class EventKind : unsigned char {
    phase,        ///< a phase began
    flight_event, ///< apogee, ejection pulse, shock, ...
    link_state,   ///< opened, lost, ...
    reboot,
    // Of one alert, all with its key
    alert_raised, ///< or raised to another level, or for another cause
    alert_cleared,
    alert_acknowledged,
    alert_shelved,
    alert_unshelved,
    marker,    ///< operator
    note,      ///< operator
    countdown, ///< operator
    operators, ///< who may act
    recording, ///< what the recording is missing, or began with
    sentence,  ///< what people are told of the flight at this moment
    procedure, ///< of its steps and checks
    readiness  ///< of a readiness board and the poll
};
consteval auto words_of(EventKind) {
    return words<EventKind::readiness>("phase", "flight_event", "link_state", "reboot", "alert_raised", "alert_cleared",
                                       "alert_acknowledged", "alert_shelved", "alert_unshelved", "marker", "note",
                                       "countdown", "operators", "recording", "sentence", "procedure", "readiness");
}

/// Everything Turnstone announces. One line each in server/pipeline/events.cpp.
enum class EventId : unsigned char {
    // Of a flight
    phase_began,
    liftoff,
    burnout,
    apogee,
    drogue_out,
    main_out,
    touchdown,
    false_liftoff,
    signal_lost,
    signal_reacquired,
    joined_in_flight,
    ready_again,
    flight_named,
    flight_described,
    shock,
    pressure_pulse,
    // Of sensors
    sensor_out_of_range,
    sensor_frozen,
    sensor_silent,
    sensor_at_range,
    barometer_stuck,
    pad_pressure_differs,
    pad_height_differs,
    // Of estimates
    estimate_missing,
    vertical_restarted,
    dead_reckoning,
    gnss_aided,
    attitude_lost,
    flat_ground,
    wind_unknown,
    landing_outside_boundary,
    landing_case_outside,
    predictions_refused,
    // Of what the flight means to people
    no_parachute,
    parachute_late,
    parachute_partial,
    impact_expected,
    attitude_unknown,
    no_fix_at_liftoff,
    position_lost,
    sentence,
    // Of the limits in a dictionary
    limit,
    channel_stuck,
    channel_stale,
    unexpected_state,
    // Of the vehicle's computer and its engine
    reboot,
    rebooted,
    clock_jump,
    station_clock_off,
    engine_total,
    // Of the station
    link_state,
    link_down,
    link_trouble,
    site_clock_off,
    heavy_loss,
    recording_fault,
    recording_trouble,
    publishing_trouble,
    estimates_behind,
    station_resumed,
    countdown_runs,
    countdown_held,
    countdown_off,
    liftoff_against_countdown,
    operator_unlocked,
    operator_handed_over,
    operator_left,
    marker,
    note,
    // Of ejection charges
    charge_fired,
    edge_found,
    // Of procedures, checks and readiness
    procedure_begun,
    step_done,
    step_waived,
    step_repeated,
    step_held,
    procedure_ended,
    check_decided,
    statement,
    past_procedure,
    poll_asked,
    poll_answered,
    entered,
    ready,
    not_ready,
    readiness_at_liftoff
};
inline constexpr Worded<EventId> kEventWords[] = {
    {EventId::phase_began, "phase_began"},
    {EventId::liftoff, "liftoff"},
    {EventId::burnout, "burnout"},
    {EventId::apogee, "apogee"},
    {EventId::drogue_out, "drogue_out"},
    {EventId::main_out, "main_out"},
    {EventId::touchdown, "touchdown"},
    {EventId::false_liftoff, "false_liftoff"},
    {EventId::signal_lost, "signal_lost"},
    {EventId::signal_reacquired, "signal_reacquired"},
    {EventId::joined_in_flight, "joined_in_flight"},
    {EventId::ready_again, "ready_again"},
    {EventId::flight_named, "flight_named"},
    {EventId::flight_described, "flight_described"},
    {EventId::shock, "shock"},
    {EventId::pressure_pulse, "pressure_pulse"},
    {EventId::sensor_out_of_range, "sensor_out_of_range"},
    {EventId::sensor_frozen, "sensor_frozen"},
    {EventId::sensor_silent, "sensor_silent"},
    {EventId::sensor_at_range, "sensor_at_range"},
    {EventId::barometer_stuck, "barometer_stuck"},
    {EventId::pad_pressure_differs, "pad_pressure_differs"},
    {EventId::pad_height_differs, "pad_height_differs"},
    {EventId::estimate_missing, "estimate_missing"},
    {EventId::vertical_restarted, "vertical_restarted"},
    {EventId::dead_reckoning, "dead_reckoning"},
    {EventId::gnss_aided, "gnss_aided"},
    {EventId::attitude_lost, "attitude_lost"},
    {EventId::flat_ground, "flat_ground"},
    {EventId::wind_unknown, "wind_unknown"},
    {EventId::landing_outside_boundary, "landing_outside_boundary"},
    {EventId::landing_case_outside, "landing_case_outside"},
    {EventId::predictions_refused, "predictions_refused"},
    {EventId::no_parachute, "no_parachute"},
    {EventId::parachute_late, "parachute_late"},
    {EventId::parachute_partial, "parachute_partial"},
    {EventId::impact_expected, "impact_expected"},
    {EventId::attitude_unknown, "attitude_unknown"},
    {EventId::no_fix_at_liftoff, "no_fix_at_liftoff"},
    {EventId::position_lost, "position_lost"},
    {EventId::sentence, "sentence"},
    {EventId::limit, "limit"},
    {EventId::channel_stuck, "channel_stuck"},
    {EventId::channel_stale, "channel_stale"},
    {EventId::unexpected_state, "unexpected_state"},
    {EventId::reboot, "reboot"},
    {EventId::rebooted, "rebooted"},
    {EventId::clock_jump, "clock_jump"},
    {EventId::station_clock_off, "station_clock_off"},
    {EventId::engine_total, "engine_total"},
    {EventId::link_state, "link_state"},
    {EventId::link_down, "link_down"},
    {EventId::link_trouble, "link_trouble"},
    {EventId::site_clock_off, "site_clock_off"},
    {EventId::heavy_loss, "heavy_loss"},
    {EventId::recording_fault, "recording_fault"},
    {EventId::recording_trouble, "recording_trouble"},
    {EventId::publishing_trouble, "publishing_trouble"},
    {EventId::estimates_behind, "estimates_behind"},
    {EventId::station_resumed, "station_resumed"},
    {EventId::countdown_runs, "countdown_runs"},
    {EventId::countdown_held, "countdown_held"},
    {EventId::countdown_off, "countdown_off"},
    {EventId::liftoff_against_countdown, "liftoff_against_countdown"},
    {EventId::operator_unlocked, "operator_unlocked"},
    {EventId::operator_handed_over, "operator_handed_over"},
    {EventId::operator_left, "operator_left"},
    {EventId::marker, "marker"},
    {EventId::note, "note"},
    {EventId::charge_fired, "charge_fired"},
    {EventId::edge_found, "edge_found"},
    {EventId::procedure_begun, "procedure_begun"},
    {EventId::step_done, "step_done"},
    {EventId::step_waived, "step_waived"},
    {EventId::step_repeated, "step_repeated"},
    {EventId::step_held, "step_held"},
    {EventId::procedure_ended, "procedure_ended"},
    {EventId::check_decided, "check_decided"},
    {EventId::statement, "statement"},
    {EventId::past_procedure, "past_procedure"},
    {EventId::poll_asked, "poll_asked"},
    {EventId::poll_answered, "poll_answered"},
    {EventId::entered, "entered"},
    {EventId::ready, "ready"},
    {EventId::not_ready, "not_ready"},
    {EventId::readiness_at_liftoff, "readiness_at_liftoff"},
};
consteval auto words_of(EventId) {
    return words_in<EventId::readiness_at_liftoff>(kEventWords);
}

/// One named fact of an event. Names carry units, as those of columns do; a number that is not finite counts as no
/// value.
struct EventValue {
    std::string name;
    std::variant<double, bool, std::string, std::vector<std::string>> value;
    friend bool operator==(const EventValue&, const EventValue&) = default;
};
using EventValues = std::vector<EventValue>;

/// An event as an estimator knows it.
struct EstimateEvent {
    EventId id;
    std::int64_t t_ns;    ///< when it happened; may lie before the measurement that showed it
    double t_sigma_s = 0; ///< 1-sigma of t_ns; 0: exact
    /// What makes its key unique, where there may be several: a role, a phase's key, an estimator.
    std::string about = {};
    EventValues values = {};
    bool cleared = false; ///< of an alert
    // What server/pipeline/events.cpp says of every such event, unless it is said here.
    std::optional<Level> level = {};
    std::string text = {};
    std::string advice = {};
};

/// An event as it is recorded and shown. Never dropped on the way to recorder or viewer.
struct Event {
    std::optional<EventId> id = {}; ///< empty: from a recording that does not say
    std::int64_t t_ns;              ///< when it happened (may be before it was found)
    std::int64_t t_found_ns;        ///< when it was found
    double t_sigma_s;               ///< 1-sigma of t_ns; 0: exact
    EventKind kind;
    Level level;
    int vehicle;      ///< -1: none
    std::string key;  ///< stable identifier, e.g. "sanderling/flight/apogee", "link/radio/down"
    std::string text; ///< one sentence for a person, made from the values; nothing reads it
    EventValues values;
    std::string advice = {}; ///< of an alert that is raised: what to do, in one sentence
    friend bool operator==(const Event&, const Event&) = default;
};

} // namespace turnstone
