#pragma once
/// Where an alert is in its life: the states of ANSI/ISA-18.2 (IEC 62682) as far as a flight needs them.
///
///                 raised               acknowledged
///     normal ─────────────▶ unacknowledged ─────────▶ acknowledged
///       ▲ ▲                    │     ▲                    │
///       │ │ acknowledged       │over │ raised             │ over
///       │ └──────────────── returned ┘ ◀─ latched, for a latching alert
///       └─────────────────────────────────────────────────┘
///
/// A latching alert that is over before anybody acknowledged it stays raised until somebody does. There is no separate
/// reset: to acknowledge it is enough. Shelving is beside these: a shelved alert lives on.
#include "shared/words.hpp"

namespace turnstone {

enum class AlertState : unsigned char {
    normal,
    unacknowledged, ///< raised, and its condition holds
    acknowledged,   ///< the same, and an operator has seen it
    returned,       ///< over before it was acknowledged
    latched         ///< the same, but it stays raised until then
};
consteval auto words_of(AlertState) {
    return words<AlertState::latched>("normal", "unacknowledged", "acknowledged", "returned", "latched");
}

/// What can happen to an alert.
enum class AlertStep : unsigned char { raise, end, acknowledge, unshelve };
consteval auto words_of(AlertStep) {
    return words<AlertStep::unshelve>("raise", "end", "acknowledge", "unshelve");
}

/// The state after a step.
[[nodiscard]] constexpr AlertState next_state(AlertState state, AlertStep step, bool latching) noexcept {
    using enum AlertState;
    switch (step) {
    case AlertStep::raise: return unacknowledged; // again, when it was raised: to another level or for another cause
    case AlertStep::end:
        if (state == acknowledged) return normal;
        if (state == unacknowledged) return latching ? latched : returned;
        return state;
    case AlertStep::acknowledge: return state == unacknowledged || state == acknowledged ? acknowledged : normal;
    case AlertStep::unshelve: return state == acknowledged ? unacknowledged : state; // it comes back to be seen
    }
    return state;
}

/// Its condition holds, as far as people were told.
[[nodiscard]] constexpr bool is_active(AlertState state) noexcept {
    return state == AlertState::unacknowledged || state == AlertState::acknowledged;
}

} // namespace turnstone
