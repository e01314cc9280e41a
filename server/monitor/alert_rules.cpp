#include "server/monitor/alert_rules.hpp"

#include <algorithm>
#include <iterator>

namespace turnstone {

namespace {

using enum estimate::Phase;

struct RuleLine {
    EventId id;
    AlertRule rule;
};

constexpr Phases kNotInFlight{on_rail, down, presumed_down};

/// Delays are common practice tuned on the simulator's flights, no source: alerts that estimators raise have weighed
/// their evidence already and come at once; an end is believed after a second, so that what flickers is one alert.
constexpr RuleLine kRules[] = {
    {EventId::sensor_out_of_range, {}},
    {EventId::sensor_frozen, {}},
    {EventId::sensor_silent, {.on_delay_s = 1, .not_in_loss = true}},
    {EventId::sensor_at_range, {.off_delay_s = 3}},
    {EventId::barometer_stuck, {}},
    {EventId::pad_pressure_differs, {}},
    {EventId::pad_height_differs, {}},
    // Judged once a round of predictions; a delay would be of rounds that a resumed recording does not fly again.
    {EventId::landing_outside_boundary, {.off_delay_s = 0}},
    {EventId::landing_case_outside, {.off_delay_s = 0}},
    {EventId::predictions_refused, {.on_delay_s = 2, .inhibited = kNotInFlight}},
    {EventId::no_parachute, {.on_delay_s = 0.5}},
    {EventId::parachute_late, {.on_delay_s = 0.5}},
    {EventId::parachute_partial, {.on_delay_s = 1, .off_delay_s = 2}},
    {EventId::impact_expected, {.on_delay_s = 0.5}},
    {EventId::attitude_unknown, {.on_delay_s = 1, .inhibited = kNotInFlight}},
    {EventId::no_fix_at_liftoff, {.inhibited = {on_rail}}},
    {EventId::position_lost, {.on_delay_s = 1, .off_delay_s = 2, .inhibited = kNotInFlight}},
    // What a dictionary does not say of its own limits.
    {EventId::limit, {.on_delay_s = 1, .off_delay_s = 2}},
    {EventId::channel_stuck, {}},
    {EventId::channel_stale, {.not_in_loss = true}},
    {EventId::unexpected_state, {.on_delay_s = 1, .off_delay_s = 2}},
    {EventId::rebooted, {.off_delay_s = 0, .latching = true}},
    {EventId::station_clock_off, {}},
    {EventId::link_down, {}},
    // A cause needs seconds of evidence, so that it does not flicker; and none is named beside link_down.
    {EventId::link_trouble, {.off_delay_s = 0}},
    // Messages that a broker kept come first, and late.
    {EventId::site_clock_off, {.on_delay_s = 10, .off_delay_s = 2}},
    {EventId::heavy_loss, {.off_delay_s = 3}},
    // A disk that hovers about full gives a few writes back and refuses the next; a computer that slept catches up.
    {EventId::recording_fault, {.off_delay_s = 5}},
    {EventId::recording_trouble, {.on_delay_s = 1, .off_delay_s = 5}},
    {EventId::publishing_trouble, {.off_delay_s = 2}},
    {EventId::estimates_behind, {}},
};

} // namespace

const AlertRule& alert_rule(EventId id) noexcept {
    static constexpr AlertRule kPlain{};
    const auto* const found = std::ranges::find(kRules, id, &RuleLine::id);
    return found == std::end(kRules) ? kPlain : found->rule;
}

} // namespace turnstone
