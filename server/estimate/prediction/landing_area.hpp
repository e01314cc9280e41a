#pragma once
/// Where landings scatter: mean, ellipse and the fraction outside a polygon. East and north, metres.
///
/// Ellipse of probability p of a bivariate normal: (x - m)' C^-1 (x - m) = -2 ln(1 - p) (T. W. Anderson, "An
/// Introduction to Multivariate Statistical Analysis", 3rd ed. 2003). Inside a polygon: even-odd rule (ray to the
/// east).
#include <vector>

#include <Eigen/Core>

#include "server/estimate/prediction/landing_case.hpp"

namespace turnstone::estimate {

struct Ellipse {
    double semi_major_m, semi_minor_m;
    double bearing_deg; ///< of the major axis, clockwise from north, [0, 180)
};

/// NaN for a matrix that is not a covariance.
[[nodiscard]] Ellipse ellipse(const Eigen::Matrix2d& covariance_m2, double probability);
/// Closed implicitly; fewer than three corners hold nothing.
[[nodiscard]] bool inside(const std::vector<Eigen::Vector2d>& polygon, const Eigen::Vector2d& point);

/// One case from its landings (east, north, time), at least two of them.
[[nodiscard]] LandingCase landing_of(const std::vector<Eigen::Vector3d>& landings,
                                     const std::vector<Eigen::Vector2d>& boundary, double probability);

} // namespace turnstone::estimate
