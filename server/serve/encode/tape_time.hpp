#pragma once
/// Station time to seconds of a tape, as STREAM.md counts them, and back.
#include <cmath>
#include <cstdint>

namespace turnstone {

/// Seconds since `t_start_ns`, correctly rounded.
[[nodiscard]] inline double tape_seconds(std::int64_t t_ns, std::int64_t t_start_ns) noexcept {
    return static_cast<double>(t_ns - t_start_ns) / 1e9;
}

/// The inverse, to the nearest nanosecond; |t_s| at most kTapeSecondsMax.
[[nodiscard]] inline std::int64_t tape_ns(double t_s, std::int64_t t_start_ns) noexcept {
    return t_start_ns + static_cast<std::int64_t>(std::llround(t_s * 1e9));
}

} // namespace turnstone
