#include "server/estimate/prediction/landing_area.hpp"

#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "shared/constants.hpp"

namespace turnstone::estimate {

Ellipse ellipse(const Eigen::Matrix2d& c, double probability) {
    const double mean = 0.5 * (c(0, 0) + c(1, 1));
    const double apart = std::hypot(0.5 * (c(0, 0) - c(1, 1)), c(0, 1));
    if (!(mean - apart >= 0)) return {kNaN, kNaN, kNaN};
    const double factor = -2 * std::log(1 - probability);
    const double from_east = degrees(0.5 * std::atan2(2 * c(0, 1), c(0, 0) - c(1, 1)));
    return {std::sqrt(factor * (mean + apart)), std::sqrt(factor * (mean - apart)),
            std::fmod(90 - from_east + 360, 180)};
}

LandingCase landing_of(const std::vector<Eigen::Vector3d>& landings, const std::vector<Eigen::Vector2d>& boundary,
                       double probability) {
    const auto count = static_cast<double>(landings.size());
    LandingCase out{.probability = probability,
                    .mean_m = Eigen::Vector2d::Zero(),
                    .covariance_m2 = Eigen::Matrix2d::Zero(),
                    .outside = kNaN,
                    .time_s = 0};
    for (const auto& p : landings) {
        out.mean_m += p.head<2>() / count;
        out.time_s += p.z() / count;
    }
    int outside = 0;
    for (const auto& p : landings) {
        const Eigen::Vector2d off = p.head<2>() - out.mean_m;
        out.covariance_m2 += off * off.transpose() / (count - 1);
        outside += !boundary.empty() && !inside(boundary, p.head<2>());
    }
    if (!boundary.empty()) out.outside = outside / count;
    return out;
}

bool inside(const std::vector<Eigen::Vector2d>& polygon, const Eigen::Vector2d& point) {
    bool odd = false;
    for (std::size_t i = 0, before = polygon.size() - 1; polygon.size() > 2 && i < polygon.size(); before = i++) {
        const Eigen::Vector2d& a = polygon[i];
        const Eigen::Vector2d& b = polygon[before];
        if ((a.y() > point.y()) != (b.y() > point.y()) &&
            point.x() < a.x() + (point.y() - a.y()) / (b.y() - a.y()) * (b.x() - a.x()))
            odd = !odd;
    }
    return odd;
}

} // namespace turnstone::estimate
