#include "server/estimate/phases/apogee.hpp"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kVertexSigma_s = 0.03;   ///< beside the scatter's: a parabola is not all of a coast
constexpr double kCrossingSigma_s = 0.01; ///< beside the speed's
constexpr double kVertex_s = 4.0;         ///< before apogee: drag is small there
constexpr double kBeforeParachute_s = 0.2;
constexpr double kHangsAfterCoast_s = 3.0;
constexpr double kFallSeen_m = 25.0;
constexpr double kFallLasts_s = 0.56;
constexpr double kFallingSeen_s = 0.04; ///< by the filter's speed

/// The vertex of a parabola through the newest heights, with its 1-sigma from their scatter: better than a filter that
/// must follow a motor's thrust. Empty when they are not one fall.
std::optional<TimeEstimate> vertex(const FlightEvidence& evidence, std::int64_t from_ns, std::int64_t crossing_ns) {
    const auto& heights = evidence.heights();
    const std::int64_t now_ns = evidence.now_ns();
    const std::int64_t begin_ns = std::max(from_ns, crossing_ns - seconds_to_ns(evidence.window_s(kVertex_s, 4.0)));
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double squares = 0.0;
    double variance_m2 = 0.0;
    int n = 0;
    // What follows may be a parachute already, and the pulse of its charge.
    const std::int64_t end_ns = crossing_ns - seconds_to_ns(kBeforeParachute_s);
    for (std::size_t i = heights.since(begin_ns); i < heights.size() && heights[i].t_ns < end_ns; ++i) {
        const double t = seconds_between(now_ns, heights[i].t_ns);
        const Eigen::Vector3d basis(1.0, t, 0.5 * t * t);
        normal += basis * basis.transpose();
        right += basis * heights[i].above_pad_m;
        squares += heights[i].above_pad_m * heights[i].above_pad_m;
        variance_m2 += heights[i].sigma_m * heights[i].sigma_m;
        ++n;
    }
    if (n < 5) return std::nullopt;
    const Eigen::Matrix3d inverse = normal.inverse();
    const Eigen::Vector3d fit = inverse * right;
    const double scatter_m2 = std::max((squares - fit.dot(right)) / (n - 3), variance_m2 / n);
    const double gravity_mps2 = evidence.settings().gravity_mps2;
    if (-fit(2) < 0.5 * gravity_mps2 || -fit(2) > 2.0 * gravity_mps2) return std::nullopt;
    const double t_s = -fit(1) / fit(2);
    const Eigen::Vector3d slope(0.0, -1.0 / fit(2), fit(1) / (fit(2) * fit(2)));
    const double sigma_s = std::sqrt(scatter_m2 * slope.dot(inverse * slope));
    return TimeEstimate{now_ns + seconds_to_ns(t_s), std::hypot(sigma_s, kVertexSigma_s)};
}

/// It has not been seen to end.
bool thrust_seems_on(const Sight& sight) {
    return sight.phase == Phase::under_thrust;
}

} // namespace

MaybeFound ApogeeWatch::speed(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const bool powered = thrust_seems_on(sight);
    const auto& speeds = evidence.speeds();
    const SpeedPoint& now = speeds.back();
    // Speed carried through many gaps may be more uncertain than it ever gets large: then five metres a second must do.
    const bool falls = now.speed_mps < -std::max(0.8, std::min(0.7 * now.sigma_mps, 5.0));
    falling_ = falls ? falling_ + 1 : 0;
    if (falling_ == 1) falls_since_ns_ = now.t_ns;
    if (falling_ < 2 || seconds_between(falls_since_ns_, now.t_ns) < kFallingSeen_s ||
        (powered && now.speed_mps > -5.0))
        return std::nullopt;
    if (seconds_between(sight.began_ns, now.t_ns) < 0.3) return std::nullopt;
    // The last change of sign; near free fall speed is linear in time.
    std::size_t i = speeds.size() - 1;
    while (i > 0 && speeds[i].speed_mps < 0.0) --i;
    const SpeedPoint& above = speeds[i];
    const SpeedPoint& below = speeds[std::min(i + 1, speeds.size() - 1)];
    const double fraction = above.speed_mps > 0.0 ? above.speed_mps / (above.speed_mps - below.speed_mps) : 0.0;
    const double gap_s = seconds_between(above.t_ns, below.t_ns);
    Found found{
        {above.t_ns + seconds_to_ns(fraction * gap_s),
         std::hypot(now.sigma_mps / evidence.settings().gravity_mps2, std::max(kCrossingSigma_s, gap_s / 4.0))}};
    if (!powered && !evidence.inertial_alive()) {
        const auto fitted = vertex(evidence, sight.began_ns, found.when.t_ns);
        if (fitted) found.when = *fitted;
    }
    if (powered) {
        std::size_t fastest = 0;
        for (std::size_t k = 1; k < speeds.size(); ++k)
            if (speeds[k].speed_mps > speeds[fastest].speed_mps) fastest = k;
        found.burnout = TimeEstimate{speeds[fastest].t_ns, 1.0};
    }
    return found;
}

MaybeFound ApogeeWatch::height(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const HeightPoint& newest = evidence.heights().back();
    const auto mean_m = evidence.mean_height_m(newest.t_ns - seconds_to_ns(0.1), newest.t_ns);
    if (!mean_m) return std::nullopt;
    if (*mean_m > highest_m_) {
        highest_m_ = *mean_m;
        highest_ns_ = newest.t_ns;
    }
    const bool below = *mean_m < highest_m_ - std::max(kFallSeen_m, 8.0 * newest.sigma_m);
    below_highest_ = below ? below_highest_ + 1 : 0;
    if (below_highest_ == 1) below_since_ns_ = newest.t_ns;
    const double lasts_s = std::max(0.0, kFallLasts_s - evidence.height_period_s());
    if (below_highest_ < 2 || seconds_between(below_since_ns_, newest.t_ns) < lasts_s ||
        seconds_between(highest_ns_, newest.t_ns) < 1.5)
        return std::nullopt;
    below_highest_ = 0;
    Found found{{highest_ns_, std::hypot(0.5, 0.5 * evidence.height_period_s())}};
    if (thrust_seems_on(sight)) found.burnout = TimeEstimate{sight.began_ns, 2.0};
    return found;
}

MaybeFound ApogeeWatch::weight(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const auto& shocks = evidence.shocks();
    if (!evidence.barometer_gone() || seconds_between(sight.began_ns, evidence.now_ns()) < kHangsAfterCoast_s)
        return std::nullopt;
    if (evidence.speeds().empty() || evidence.speeds().back().sigma_mps < 10.0 || !evidence.hangs())
        return std::nullopt;
    const std::size_t first = shocks.since(sight.began_ns + seconds_to_ns(1.0));
    const std::int64_t opened_ns =
        first < shocks.size() ? shocks[first].t_ns : evidence.now_ns() - seconds_to_ns(kHangsAfterCoast_s);
    return Found{{opened_ns - seconds_to_ns(1.0), 1.0}};
}

double ApogeeWatch::ceiling_m(const FlightEvidence& evidence) const {
    double ceiling_m = highest_m_;
    const auto& speeds = evidence.speeds();
    for (std::size_t i = 0; i < speeds.size(); ++i)
        ceiling_m = std::max(ceiling_m, speeds[i].height_m + 2.0 * speeds[i].height_sigma_m);
    return ceiling_m;
}

} // namespace turnstone::estimate
