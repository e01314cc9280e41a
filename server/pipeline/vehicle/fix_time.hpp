#pragma once
/// When a fix was true, by the receiver's own time, on the station's clock; and the station's clock against GNSS time.
///
/// A fix says its time in UTC or in GPS time. The station's clock may be off by seconds, so the two scales are compared
/// by the fixes themselves: packet's time minus receiver's time is how far the station is ahead of GNSS time, plus the
/// delay from fix to packet. Its mean, less the delay that the vehicle file tells, ties one scale to the other. That
/// takes out what varies from fix to fix; what the mean delay differs from the file by stays, for the filters to find.
#include <cstdint>

#include "shared/constants.hpp"

namespace turnstone {

/// As the receiver gives it; NaN where it does not.
struct ReceiverTime {
    double utc_s = kNaN;         ///< since 1970-01-01, leap seconds not counted
    double utc_of_day_s = kNaN;  ///< since midnight
    double gps_week = kNaN;      ///< since 1980-01-06, whole or modulo 1024
    double gps_of_week_s = kNaN; ///< GPS time
};

/// UTC in seconds since 1970-01-01 of the time that is nearest to `near_utc_s`, where the receiver leaves days, weeks
/// or cycles of weeks out. NaN when it gives no time.
[[nodiscard]] double receiver_utc_s(const ReceiverTime& time, double near_utc_s) noexcept;

class FixTime {
  public:
    /// `delay_s`: told, from fix to packet.
    explicit FixTime(double delay_s) : delay_s_(delay_s) {}

    /// Station time at which the fix of a packet of `t_ns` was true; 0: not known (yet).
    [[nodiscard]] std::int64_t valid_ns(const ReceiverTime& time, std::int64_t t_ns) noexcept;
    /// Station time minus GNSS time (as UTC), seconds; NaN until enough fixes have come.
    [[nodiscard]] double station_ahead_s() const noexcept;

  private:
    double delay_s_;
    std::int64_t base_ns_ = 0; ///< packet's minus receiver's time of the first fix; the mean counts from there
    double mean_s_ = 0, count_ = 0;
    int strange_ = 0; ///< times in a row that are far from the mean
};

} // namespace turnstone
