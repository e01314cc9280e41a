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
consteval auto words_of(Phase) {
    return words<Phase::presumed_down>("on the rail", "under thrust", "coasting", "falling (no parachute)",
                                       "under drogue", "under main", "down", "presumed down");
}

/// The same in the keys of events: "phase/on_the_rail".
[[nodiscard]] constexpr std::string_view phase_key(Phase phase) noexcept {
    constexpr auto keys = words<Phase::presumed_down>("on_the_rail", "under_thrust", "coasting", "falling",
                                                      "under_drogue", "under_main", "down", "presumed_down");
    return keys[static_cast<std::size_t>(phase)];
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
