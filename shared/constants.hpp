#pragma once
/// Constants that more than one folder computes with.
#include <limits>

namespace turnstone {

inline constexpr double kNaN = std::numeric_limits<double>::quiet_NaN(); ///< "no value" everywhere
inline constexpr double kInfinity = std::numeric_limits<double>::infinity();
inline constexpr double kGravityStandard_mps2 = 9.80665; ///< standard acceleration of free fall, 3rd CGPM (1901)
inline constexpr double kKnot_mps = 1852.0 / 3600.0;     ///< by the international nautical mile
inline constexpr double kFoot_m = 0.3048;                ///< the international foot

} // namespace turnstone
