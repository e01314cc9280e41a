#pragma once
/// Constants that more than one folder computes with.
#include <limits>

namespace turnstone {

inline constexpr double kNaN = std::numeric_limits<double>::quiet_NaN(); ///< "no value" everywhere
inline constexpr double kInfinity = std::numeric_limits<double>::infinity();
inline constexpr double kGravityStandard_mps2 = 9.80665; ///< standard acceleration of free fall, 3rd CGPM (1901)

} // namespace turnstone
