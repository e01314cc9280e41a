#pragma once
/// UTC against TAI, the scale without steps: leap seconds as announced in IERS Bulletin C. Whole seconds began on
/// 1972-01-01; times before that are given as if UTC had been TAI. The last row holds for what comes after it.
#include <cstdint>

namespace turnstone {

/// From 1958-01-01, where TAI begins, to 1970-01-01, where UTC is counted from.
inline constexpr std::int64_t kTaiEpochDays = -4383;
inline constexpr std::int64_t kSecondsPerDay = 86'400;

/// TAI minus UTC on a UTC day, counted from 1970-01-01.
[[nodiscard]] std::int64_t tai_minus_utc_s(std::int64_t utc_day) noexcept;
/// Whether the UTC day has 86,401 seconds.
[[nodiscard]] bool has_leap_second(std::int64_t utc_day) noexcept;

/// Nanoseconds of UTC since 1970-01-01, leap seconds not counted, to and from nanoseconds of TAI since 1958-01-01. A
/// leap second reads as the first second of the next day.
[[nodiscard]] std::int64_t tai_ns_from_utc_ns(std::int64_t utc_ns) noexcept;
[[nodiscard]] std::int64_t utc_ns_from_tai_ns(std::int64_t tai_ns) noexcept;

} // namespace turnstone
