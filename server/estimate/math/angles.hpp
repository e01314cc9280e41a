#pragma once
/// Degrees for people, radians for mathematics.
#include <cmath>
#include <numbers>

#include <Eigen/Core>

namespace turnstone::estimate {

[[nodiscard]] constexpr double radians(double degrees) noexcept {
    return degrees * std::numbers::pi / 180;
}
[[nodiscard]] constexpr double degrees(double radians) noexcept {
    constexpr double kDegreesPerRadian = 180 / std::numbers::pi;
    return radians * kDegreesPerRadian;
}
[[nodiscard]] inline Eigen::Vector3d degrees(const Eigen::Vector3d& radians) {
    return radians * (180 / std::numbers::pi);
}
/// Direction of (east, north), degrees clockwise from true north, [0, 360).
[[nodiscard]] inline double bearing_deg(double east, double north) noexcept {
    const double bearing = degrees(std::atan2(east, north));
    return bearing < 0 ? bearing + 360 : bearing;
}

} // namespace turnstone::estimate
