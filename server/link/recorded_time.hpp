#pragma once
/// Receive times of a recorded file on the station's clock: the first packet comes now, each other as much later as it
/// was recorded later.
#include <algorithm>
#include <cstdint>
#include <optional>

namespace turnstone {

class RecordedTime {
  public:
    /// `t_recorded_ns`: of a packet, by the clock that recorded it; -1: it has none, and comes with the one before.
    /// Times never go back, and a pause of more than an hour takes one second: nobody waits for a night.
    std::int64_t now_for(std::int64_t t_recorded_ns, std::int64_t t_now_ns) noexcept {
        constexpr std::int64_t kPauseMostNs = 3'600'000'000'000, kLongPauseNs = 1'000'000'000;
        if (!t_ns_) t_ns_ = t_now_ns;
        if (t_recorded_ns < 0) return *t_ns_;
        const std::int64_t step_ns = newest_ns_ ? std::max<std::int64_t>(t_recorded_ns - *newest_ns_, 0) : 0;
        newest_ns_ = newest_ns_.value_or(t_recorded_ns) + step_ns;
        *t_ns_ += step_ns > kPauseMostNs ? kLongPauseNs : step_ns;
        return *t_ns_;
    }

  private:
    std::optional<std::int64_t> t_ns_;      ///< station time of the newest packet
    std::optional<std::int64_t> newest_ns_; ///< the same by the clock that recorded it
};

} // namespace turnstone
