#pragma once
/// The clock of another station against this one's, from messages that go one way.
///
/// A message that was sent at s by its clock and arrived at a by ours says: ours − its = a − s − its time on the way,
/// and that is at least none. The least a − s of the last minutes is therefore the most that our clock is ahead, and
/// off by what the quickest message took. A message that took longer is known to have come that much later. Minutes in
/// which nothing came do not count: what comes first behind an outage is the slowest of all.
#include <algorithm>
#include <cstdint>
#include <limits>
#include <string>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

class SiteClock {
  public:
    /// A message of the station's clock `clock`, in the order they arrive. Returns how much longer it took than the
    /// quickest one, in seconds.
    double take(std::int64_t t_arrived_ns, const std::string& clock, std::int64_t t_sent_ns) {
        const double lead_s = seconds_between(t_sent_ns, t_arrived_ns);
        if (t_arrived_ns - t_newest_ns_ > kSilenceNs) t_since_ns_ += t_arrived_ns - t_newest_ns_;
        t_newest_ns_ = t_arrived_ns;
        if (clock != clock_) {
            clock_ = clock;
            before_s_ = newest_s_ = kNone;
            t_since_ns_ = t_arrived_ns;
        } else if (t_arrived_ns - t_since_ns_ > kHalfWindowNs) {
            before_s_ = std::exchange(newest_s_, kNone);
            t_since_ns_ = t_arrived_ns;
        }
        newest_s_ = std::min(newest_s_, lead_s);
        return lead_s - lead_most_s();
    }

    /// At most so much is this clock ahead of the other; infinite before the first message.
    [[nodiscard]] double lead_most_s() const noexcept { return std::min(before_s_, newest_s_); }

  private:
    /// Crystals drift by some 20 ppm apart: 12 ms in this time.
    static constexpr std::int64_t kHalfWindowNs = 300 * kNsPerS, kSilenceNs = 10 * kNsPerS;
    static constexpr double kNone = std::numeric_limits<double>::infinity();

    std::string clock_;
    std::int64_t t_since_ns_ = 0;                ///< of the newer half, later by what was silent of it
    std::int64_t t_newest_ns_ = 0;               ///< message
    double before_s_ = kNone, newest_s_ = kNone; ///< least of each half
};

} // namespace turnstone
