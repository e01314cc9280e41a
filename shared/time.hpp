#pragma once
/// The clocks of the project. All are signed 64-bit nanoseconds; the name says which clock:
///
///   t_ns, t_rx_ns   station time: steady, set to the system's UTC once when the server starts and never stepped
///                   afterwards. It orders everything on the tape.
///   utc_ns          the system's UTC clock, nanoseconds since 1970-01-01, leap seconds not counted; may be stepped.
///   onboard_ns      the vehicle's clock since its boot, rollovers already removed.
#include <cstdint>

namespace turnstone {

inline constexpr std::int64_t kNsPerMs = 1'000'000;
inline constexpr std::int64_t kNsPerS = 1'000'000'000;

/// Seconds from `from_ns` to `to_ns` on one clock.
constexpr double seconds_between(std::int64_t from_ns, std::int64_t to_ns) noexcept {
    return static_cast<double>(to_ns - from_ns) * 1e-9;
}

constexpr std::int64_t seconds_to_ns(double seconds) noexcept {
    return static_cast<std::int64_t>(seconds * 1e9);
}

} // namespace turnstone
