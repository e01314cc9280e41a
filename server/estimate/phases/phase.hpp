#pragma once
/// The phases of a flight, and what begins each.
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "server/estimate/event.hpp"
#include "shared/words.hpp"

namespace turnstone::estimate {

enum class Phase : unsigned char {
    on_rail,
    under_thrust,
    coasting, ///< from burnout to apogee
    falling,  ///< from apogee until a parachute is seen
    under_drogue,
    under_main,
    down,
    presumed_down ///< silent since in flight, and by now it must have come down
};

/// A phase's word for people, and the same in the keys of events: "phase/on_the_rail".
struct PhaseWords {
    Phase value;
    std::string_view word;
    std::string_view key;
};
inline constexpr PhaseWords kPhaseWords[] = {
    {Phase::on_rail, "on the rail", "on_the_rail"},
    {Phase::under_thrust, "under thrust", "under_thrust"},
    {Phase::coasting, "coasting", "coasting"},
    {Phase::falling, "falling (no parachute)", "falling"},
    {Phase::under_drogue, "under drogue", "under_drogue"},
    {Phase::under_main, "under main", "under_main"},
    {Phase::down, "down", "down"},
    {Phase::presumed_down, "presumed down", "presumed_down"},
};
consteval auto words_of(Phase) {
    return words_in<Phase::presumed_down>(kPhaseWords);
}

[[nodiscard]] constexpr std::string_view phase_key(Phase phase) noexcept {
    return kPhaseWords[static_cast<std::size_t>(phase)].key;
}

/// A step of a flight, from EventId::liftoff to EventId::touchdown, or a finding about the flight as a whole (the
/// enumerators up to ready_again): when it happened, back-dated, and when it was recognised.
struct Transition {
    EventId event;
    std::int64_t t_ns;
    double t_sigma_s;
    std::int64_t t_found_ns;
    Phase phase; ///< that begins with it
};

} // namespace turnstone::estimate
