#include "server/estimate/phases/apogee.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

/// Of the time of zero vertical speed, beside the speed's own sigma: near apogee the axis leans most and stands worst
/// for the vertical.
constexpr double kApogeeSigma_s = 0.04;
constexpr double kHangsAfterCoast_s = 3.0;

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
    falling_ = now.speed_mps < -std::max(0.8, std::min(0.7 * now.sigma_mps, 5.0)) ? falling_ + 1 : 0;
    if (falling_ < 3 || (powered && now.speed_mps > -5.0)) return std::nullopt;
    if (seconds_between(sight.began_ns, now.t_ns) < 0.3) return std::nullopt;
    // The last change of sign; near free fall speed is linear in time.
    std::size_t i = speeds.size() - 1;
    while (i > 0 && speeds[i].speed_mps < 0.0) --i;
    const SpeedPoint& above = speeds[i];
    const SpeedPoint& below = speeds[std::min(i + 1, speeds.size() - 1)];
    const double fraction = above.speed_mps > 0.0 ? above.speed_mps / (above.speed_mps - below.speed_mps) : 0.0;
    const double gap_s = seconds_between(above.t_ns, below.t_ns);
    Found found{{above.t_ns + seconds_to_ns(fraction * gap_s),
                 std::hypot(now.sigma_mps / evidence.settings().gravity_mps2, std::max(kApogeeSigma_s, gap_s / 4.0))}};
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
    below_highest_ = *mean_m < highest_m_ - std::max(25.0, 8.0 * newest.sigma_m) ? below_highest_ + 1 : 0;
    if (below_highest_ < 15 || seconds_between(highest_ns_, newest.t_ns) < 1.5) return std::nullopt;
    below_highest_ = 0;
    Found found{{highest_ns_, 0.5}};
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
