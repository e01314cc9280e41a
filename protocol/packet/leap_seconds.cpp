#include "protocol/packet/leap_seconds.hpp"

#include <array>
#include <chrono>

#include "shared/time.hpp"

namespace turnstone {
namespace {

/// The UTC days on which TAI minus UTC grew by one second, from 10 s on the first.
constexpr auto kSteps = [] {
    using namespace std::chrono;
    const auto day = [](int year, unsigned month) {
        return sys_days{std::chrono::year{year} / std::chrono::month{month} / 1}.time_since_epoch().count();
    };
    return std::array<std::int64_t, 28>{
        day(1972, 1), day(1972, 7), day(1973, 1), day(1974, 1), day(1975, 1), day(1976, 1), day(1977, 1),
        day(1978, 1), day(1979, 1), day(1980, 1), day(1981, 7), day(1982, 7), day(1983, 7), day(1985, 7),
        day(1988, 1), day(1990, 1), day(1991, 1), day(1992, 7), day(1993, 7), day(1994, 7), day(1996, 1),
        day(1997, 7), day(1999, 1), day(2006, 1), day(2009, 1), day(2012, 7), day(2015, 7), day(2017, 1)};
}();
constexpr std::int64_t kFirstOffset_s = 10;
constexpr std::int64_t kNsPerDay = kSecondsPerDay * kNsPerS;

std::int64_t day_of(std::int64_t utc_ns) noexcept {
    return utc_ns / kNsPerDay - (utc_ns % kNsPerDay < 0 ? 1 : 0);
}

} // namespace

std::int64_t tai_minus_utc_s(std::int64_t utc_day) noexcept {
    for (std::size_t i = kSteps.size(); i-- > 0;)
        if (utc_day >= kSteps[i]) return kFirstOffset_s + static_cast<std::int64_t>(i);
    return 0;
}

bool has_leap_second(std::int64_t utc_day) noexcept {
    return utc_day >= kSteps.front() && tai_minus_utc_s(utc_day + 1) > tai_minus_utc_s(utc_day);
}

std::int64_t tai_ns_from_utc_ns(std::int64_t utc_ns) noexcept {
    return utc_ns - kTaiEpochDays * kNsPerDay + tai_minus_utc_s(day_of(utc_ns)) * kNsPerS;
}

std::int64_t utc_ns_from_tai_ns(std::int64_t tai_ns) noexcept {
    const std::int64_t as_utc_ns = tai_ns + kTaiEpochDays * kNsPerDay;
    for (std::size_t i = kSteps.size(); i-- > 0;) {
        const std::int64_t utc_ns = as_utc_ns - (kFirstOffset_s + static_cast<std::int64_t>(i)) * kNsPerS;
        if (utc_ns >= kSteps[i] * kNsPerDay) return utc_ns;
        // The leap second before this step: the clock says 60, which is counted as the next day's first second.
        if (i > 0 && utc_ns + kNsPerS >= kSteps[i] * kNsPerDay) return utc_ns + kNsPerS;
    }
    return as_utc_ns;
}

} // namespace turnstone
