#include "server/estimate/phases/next_flight.hpp"

#include <cmath>

#include "server/estimate/phases/liftoff.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kTippedOver_s = 5.0; ///< after touchdown; what moves it later is a person, or wind in the parachute
constexpr double kHandledRate_radps = 0.3;
constexpr double kHandledForce_mps2 = 1.5;
constexpr double kUprightFraction = 0.85; ///< of gravity along the axis
constexpr double kLyingFraction = 0.6;
constexpr double kLies_s = 2.0;
constexpr double kFlies_m = 40.0;
constexpr double kGroundSeen_s = 20.0;
constexpr double kSameHeight_m = 3.0;
constexpr double kInertialGone_s = 30.0;
constexpr double kReadySigma_s = 1.0;
constexpr double kLeft_s = 2.0; ///< before it was last seen on the ground at the most

Found ready(const FlightEvidence& evidence) {
    return {{evidence.now_ns(), kReadySigma_s}};
}

} // namespace

MaybeFound NextFlightWatch::force(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const Force& force = evidence.forces().back();
    const double gravity_mps2 = evidence.settings().gravity_mps2;
    const double down_s = seconds_between(sight.began_ns, force.t_ns);
    const bool still = std::fabs(force.size_mps2() - gravity_mps2) < evidence.rest_force_mps2(kHandledForce_mps2) &&
                       !(force.lateral_rate_radps > kHandledRate_radps);
    handled_ = handled_ || (!still && down_s > kTippedOver_s);
    if (!still || std::fabs(force.axial_mps2) > kLyingFraction * gravity_mps2)
        lies_since_ns_ = 0;
    else if (lies_since_ns_ == 0)
        lies_since_ns_ = force.t_ns;
    lay_ = lay_ || (lies_since_ns_ != 0 && seconds_between(lies_since_ns_, force.t_ns) > kLies_s);
    if (!still || force.axial_mps2 < kUprightFraction * gravity_mps2) {
        stands_since_ns_ = 0;
        return std::nullopt;
    }
    if (stands_since_ns_ == 0) stands_since_ns_ = force.t_ns;
    const double stands_s = seconds_between(stands_since_ns_, force.t_ns);
    const bool by_hand = ((handled_ && down_s > kNextFlight_s) || lay_) && stands_s > kStands_s;
    if (!by_hand && !(rebooted_ && stands_s > kStandsRebooted_s)) return std::nullopt;
    return ready(evidence);
}

MaybeFound NextFlightWatch::flies(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const auto& heights = evidence.heights();
    double ground_m = heights.back().above_pad_m;
    const std::size_t first =
        heights.since(std::max(sight.found_ns, heights.back().t_ns - seconds_to_ns(kGroundSeen_s)));
    for (std::size_t i = first; i < heights.size(); ++i) ground_m = std::min(ground_m, heights[i].above_pad_m);
    if (!climbs_through(evidence, ground_m + kFlies_m)) return std::nullopt;
    // It was ready before it left.
    std::int64_t t_ground_ns = heights.back().t_ns;
    for (std::size_t i = first; i < heights.size(); ++i)
        if (heights[i].above_pad_m < ground_m + kSameHeight_m) t_ground_ns = heights[i].t_ns;
    return Found{{std::max(sight.began_ns, t_ground_ns - seconds_to_ns(kLeft_s)), kReadySigma_s}};
}

MaybeFound NextFlightWatch::height(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const auto& forces = evidence.forces();
    if (!forces.empty() && seconds_between(forces.back().t_ns, evidence.now_ns()) < kInertialGone_s)
        return std::nullopt;
    const HeightPoint& newest = evidence.heights().back();
    const auto now_m = evidence.mean_height_m(newest.t_ns - seconds_to_ns(evidence.window_s(1.0, 1.1)), newest.t_ns);
    if (!now_m) return std::nullopt;
    if (still_since_ns_ == 0 || std::fabs(*now_m - still_height_m_) > kSameHeight_m + 3.0 * newest.sigma_m) {
        still_since_ns_ = newest.t_ns;
        still_height_m_ = *now_m;
        return std::nullopt;
    }
    const double still_s = seconds_between(still_since_ns_, newest.t_ns);
    if (!(still_s > kRestBlind_s) && !(rebooted_ && still_s > kStands_s)) return std::nullopt;
    return ready(evidence);
}

} // namespace turnstone::estimate
