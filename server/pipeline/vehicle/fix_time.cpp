#include "server/pipeline/vehicle/fix_time.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kDay_s = 86400;
constexpr double kWeek_s = 7 * kDay_s;
constexpr double kGpsEpoch_s = 315964800; // 1980-01-06 in UTC seconds since 1970-01-01
/// GPS time minus UTC since 2017-01-01 (IERS Bulletin C 52; from memory). A receiver that gives UTC counts leap seconds
/// itself.
constexpr double kGpsAheadOfUtc_s = 18;
constexpr double kWeekCycle = 1024;
constexpr double kEnough = 5;
constexpr double kMeanOf = 200;
constexpr double kStrange_s = 2;
constexpr int kStrangeMax = 5;

double nearest(double value_s, double near_s, double cycle_s) {
    return value_s + cycle_s * std::round((near_s - value_s) / cycle_s);
}

} // namespace

double receiver_utc_s(const ReceiverTime& time, double near_utc_s) noexcept {
    if (std::isfinite(time.utc_s)) return time.utc_s;
    if (std::isfinite(time.utc_of_day_s)) return nearest(time.utc_of_day_s, near_utc_s, kDay_s);
    if (!std::isfinite(time.gps_of_week_s)) return kNaN;
    const double in_week_s = kGpsEpoch_s - kGpsAheadOfUtc_s + time.gps_of_week_s;
    if (!std::isfinite(time.gps_week)) return nearest(in_week_s, near_utc_s, kWeek_s);
    const double utc_s = in_week_s + kWeek_s * time.gps_week;
    return time.gps_week < kWeekCycle ? nearest(utc_s, near_utc_s, kWeekCycle * kWeek_s) : utc_s;
}

std::int64_t FixTime::valid_ns(const ReceiverTime& time, std::int64_t t_ns) noexcept {
    const double utc_s = receiver_utc_s(time, seconds_between(0, t_ns));
    if (!std::isfinite(utc_s) || std::abs(utc_s) > 9e9) return 0;
    // Whole seconds apart, so that a nanosecond is not lost in a double.
    const double whole_s = std::floor(utc_s);
    const std::int64_t receiver_ns =
        static_cast<std::int64_t>(whole_s) * kNsPerS + std::llround((utc_s - whole_s) * 1e9);
    const std::int64_t ahead_ns = t_ns - receiver_ns;
    if (count_ == 0) base_ns_ = ahead_ns;
    const double ahead_s = seconds_between(base_ns_, ahead_ns);
    if (count_ > 0 && std::abs(ahead_s - mean_s_) > kStrange_s) {
        if (++strange_ < kStrangeMax) return 0;
        // The receiver has found the right second, or the clock was mapped again.
        base_ns_ = ahead_ns;
        count_ = mean_s_ = 0;
        strange_ = 0;
        return 0;
    }
    strange_ = 0;
    count_ = std::min(count_ + 1, kMeanOf);
    mean_s_ += (ahead_s - mean_s_) / count_;
    if (count_ < kEnough) return 0;
    return receiver_ns + base_ns_ + std::llround((mean_s_ - delay_s_) * 1e9);
}

double FixTime::station_ahead_s() const noexcept {
    return count_ < kEnough ? kNaN : seconds_between(0, base_ns_) + mean_s_ - delay_s_;
}

} // namespace turnstone
