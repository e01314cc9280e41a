#pragma once
/// How a condition becomes an alert: one line for each alert in alert_rules.cpp.
#include <cstdint>
#include <initializer_list>

#include "server/estimate/event.hpp"
#include "server/estimate/phases/phase.hpp"

namespace turnstone {

/// A set of phases of flight.
class Phases {
  public:
    constexpr Phases() = default;
    constexpr Phases(std::initializer_list<estimate::Phase> phases) {
        for (const estimate::Phase phase : phases) add(phase);
    }
    constexpr void add(estimate::Phase phase) noexcept { bits_ |= bit(phase); }
    [[nodiscard]] constexpr bool contain(estimate::Phase phase) const noexcept { return (bits_ & bit(phase)) != 0; }

  private:
    static constexpr unsigned bit(estimate::Phase phase) noexcept { return 1u << static_cast<unsigned>(phase); }
    unsigned bits_ = 0;
};

struct AlertRule {
    double on_delay_s = 0;    ///< the condition must hold this long before the alert is raised
    double off_delay_s = 1;   ///< and be over this long before it is cleared
    bool latching = false;    ///< raised until an operator acknowledges it
    bool not_in_loss = false; ///< packets that are lost explain it: it waits until they come through
    Phases inhibited = {};    ///< in these the condition counts for nothing: it has an explanation, or no consequence
};

/// Of an event that is an alert.
[[nodiscard]] const AlertRule& alert_rule(EventId id) noexcept;

// An alert raised this often in this time chatters (three times in a minute: ANSI/ISA-18.2, from memory). It then stays
// raised until its condition has been over for a while, and is raised for another cause or to another level no sooner.
inline constexpr int kChatterRaises = 3;
inline constexpr double kChatterWindow_s = 60;
inline constexpr double kChatterQuiet_s = 10;

} // namespace turnstone
