#include "server/estimate/sensors/fix_scatter.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kFixesApart_s = 3.0; ///< between two fixes that are compared
constexpr double kOutlier = 25.0;     ///< of the square told: one jump is not scatter

} // namespace

void FixScatter::at_rest(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& new_m,
                         const Eigen::Vector3d& velocity_enu_mps, double speed_mps) {
    const double since_s = seconds_between(t_ns_, t_ns);
    if (t_ns_ != 0 && since_s <= 0) return;
    const double kept = t_ns_ == 0 ? 0.0 : std::exp(-since_s / kMemory_s);
    position_.forget(kept);
    speed_.forget(kept);
    const bool follows = has_last_ && since_s < kFixesApart_s;
    for (int axis = 0; axis < 3; ++axis) {
        const double step = (position_enu_m(axis) - last_enu_m_(axis)) / new_m(axis);
        if (follows && std::isfinite(step)) position_.add(std::min(0.5 * step * step, kOutlier));
        const double speed = velocity_enu_mps(axis) / speed_mps;
        if (std::isfinite(speed)) speed_.add(std::min(speed * speed, kOutlier));
    }
    last_enu_m_ = position_enu_m;
    t_ns_ = t_ns;
    has_last_ = true;
}

double FixScatter::factor(const Mean& mean) noexcept {
    constexpr double told = 3 * kToldFixes;
    return std::clamp((mean.sum + told) / (mean.weight + told), 1.0, kMost);
}

FixScatterFactors FixScatter::factors() const noexcept {
    return {factor(position_), factor(speed_)};
}

} // namespace turnstone::estimate
