#pragma once
/// How long a sensor is usually silent, and whether it is overdue: its samples may come singly or many in a packet.
#include <algorithm>
#include <cstdint>

#include "shared/time.hpp"

namespace turnstone::estimate {

class UsualPause {
  public:
    /// A sample of `t_ns`, heard at `now_ns` or, where that is later, at its own time.
    void heard(std::int64_t t_ns, std::int64_t now_ns) noexcept {
        now_ns = std::max(now_ns, t_ns);
        if (now_ns > t_heard_ns_ && t_newest_ns_ != 0) { // the first of its packet
            const double pause_s = seconds_between(t_newest_ns_, now_ns);
            usual_s_ = std::min(last_s_, pause_s);
            last_s_ = pause_s;
        }
        t_heard_ns_ = std::max(t_heard_ns_, now_ns);
        t_newest_ns_ = std::max(t_newest_ns_, t_ns);
    }
    /// The next sample should have come; true before the first.
    [[nodiscard]] bool overdue(std::int64_t now_ns) const noexcept {
        constexpr double kLeast_s = 0.3, kPauses = 1.5;
        return seconds_between(t_newest_ns_, now_ns) > std::max(kLeast_s, kPauses * usual_s_);
    }

  private:
    std::int64_t t_heard_ns_ = 0, t_newest_ns_ = 0;
    double last_s_ = 0;
    double usual_s_ = 0; ///< the shorter of the last two: a single loss changes nothing
};

} // namespace turnstone::estimate
