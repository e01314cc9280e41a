#include "server/pipeline/vehicle/earth_centred.hpp"

#include <cmath>
#include <numbers>

#include "shared/constants.hpp"

namespace turnstone {

GeodeticPosition geodetic_from_earth_centred(const Eigen::Vector3d& ecef_m) {
    constexpr double kRadiusLeast_m = 6.3e6; // 56 km below the poles, where the ellipsoid is closest to the centre
    if (!(ecef_m.norm() > kRadiusLeast_m)) return {kNaN, kNaN, kNaN};
    return from_ecef_m(ecef_m);
}

Eigen::Vector3d enu_from_earth_centred(const Eigen::Vector3d& ecef, const GeodeticPosition& position) {
    constexpr double kRadPerDeg = std::numbers::pi / 180.0;
    const double sin_lat = std::sin(position.latitude_deg * kRadPerDeg);
    const double cos_lat = std::cos(position.latitude_deg * kRadPerDeg);
    const double sin_lon = std::sin(position.longitude_deg * kRadPerDeg);
    const double cos_lon = std::cos(position.longitude_deg * kRadPerDeg);
    const double outward = cos_lon * ecef.x() + sin_lon * ecef.y(); // from the axis, in the meridian's plane
    return {cos_lon * ecef.y() - sin_lon * ecef.x(), cos_lat * ecef.z() - sin_lat * outward,
            cos_lat * outward + sin_lat * ecef.z()};
}

} // namespace turnstone
