#pragma once
/// From what a receiver gives in earth-centred, earth-fixed axes to what estimators take. WGS 84, NIMA TR8350.2.
#include <Eigen/Core>

#include "shared/geodesy.hpp"

namespace turnstone {

/// NaN for what is not near the earth's surface or above it: a receiver without a fix sends the earth's centre.
[[nodiscard]] GeodeticPosition geodetic_from_earth_centred(const Eigen::Vector3d& ecef_m);

/// East, north and up at a position, of a vector in earth-centred axes.
[[nodiscard]] Eigen::Vector3d enu_from_earth_centred(const Eigen::Vector3d& ecef, const GeodeticPosition& position);

} // namespace turnstone
