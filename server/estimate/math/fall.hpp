#pragma once
/// Nothing is predicted to fall through the ground.
#include <algorithm>
#include <cstdint>

namespace turnstone::estimate {

/// As far in (from_ns, to_ns] as a prediction holds: to its end or, where `up_m(t_ns)`, height above the pad, is under
/// the ground by then, to where it gets there. Ground is at the pad's height, or where it was at `from_ns` if that was
/// lower. kUnderground_m more is taken for a slope, a valley, a pad's height that is not right.
template <class UpAt>
[[nodiscard]] std::int64_t falls_until_ns(std::int64_t from_ns, std::int64_t to_ns, const UpAt& up_m) {
    constexpr double kUnderground_m = 10;
    constexpr std::int64_t kHits_ns = 1'000'000;
    const double end_m = up_m(to_ns);
    if (!(end_m < -kUnderground_m)) return to_ns;
    const double ground_m = std::min(0.0, up_m(from_ns));
    if (!(end_m < ground_m - kUnderground_m)) return to_ns;
    while (to_ns - from_ns > kHits_ns) {
        const std::int64_t between_ns = from_ns + (to_ns - from_ns) / 2;
        (up_m(between_ns) > ground_m ? from_ns : to_ns) = between_ns;
    }
    return from_ns;
}

} // namespace turnstone::estimate
