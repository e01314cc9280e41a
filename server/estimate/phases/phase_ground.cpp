// Silence in flight, and from one flight to the next.
#include <algorithm>
#include <cmath>

#include "server/estimate/phases/phase_detector.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kTerrain_m = 8.0;     ///< 1-sigma of the ground's height where a flight comes down, against the pad's
constexpr double kFalls_mps = 1.5;     ///< slower than this is no descent to tell an impact from
constexpr double kDownBeyond_s = 30.0; ///< canopies drift in rising air
constexpr double kTippedOver_s = 5.0;  ///< after a landing; what moves it later is a person, or wind in the canopy
constexpr double kHandledRate_rad_s = 0.3;
constexpr double kHandledForce_mps2 = 1.5;
constexpr double kUprightShare = 0.85; ///< of gravity along the axis
constexpr double kSameHeight_m = 3.0;
constexpr double kInertialGone_s = 30.0;

/// Seconds to fall `height_m`, downward speed and acceleration positive.
double fall_time_s(double height_m, double speed_mps, double accel_mps2) {
    if (accel_mps2 < 0.1) return height_m / speed_mps;
    return (std::sqrt(speed_mps * speed_mps + 2.0 * accel_mps2 * height_m) - speed_mps) / accel_mps2;
}

} // namespace

void PhaseDetector::watch_silence() {
    if (on_ground() || speeds_.empty()) return;
    const double silent_s = seconds_between(t_input_ns_, t_now_ns_);
    if (silent_s < kSilence_s) return;
    // The filter goes on predicting for a while: what it knew when something was last received.
    const std::size_t after = speeds_.since(t_input_ns_ + 1);
    const SpeedPoint& seen = speeds_[after > 0 ? after - 1 : 0];
    const double gravity = settings_.gravity_mps2;
    const bool ascends = phase_ == Phase::powered_ascent || phase_ == Phase::coast;
    const double down_mps = -seen.speed_mps;
    if (down_mps > kFalls_mps && seen.sigma_mps < 0.5 * down_mps) {
        // Without a canopy it still gains speed; under one the last second's slowing down would not last.
        const bool falls_freely = ascends || phase_ == Phase::descent;
        const double gains_mps2 = falls_freely ? std::clamp(-seen.accel_mps2, 0.0, gravity) : 0.0;
        const double left_s = fall_time_s(std::max(0.0, seen.height_m), down_mps, gains_mps2);
        if (left_s < kNearGround_s && seen.height_sigma_m < kNearGround_s * down_mps) {
            if (silent_s < left_s + kSilence_s) return;
            const bool canopy_to_come = phase_ != Phase::main_descent && settings_.parachutes > 0;
            const double slower_s = canopy_to_come ? left_s : 0.0;
            const double sigma_s = std::hypot(std::hypot(seen.height_sigma_m, kTerrain_m) / down_mps,
                                              seen.sigma_mps / down_mps * left_s, slower_s);
            last_seen_ = {seen.height_m, seen.height_sigma_m, seen.speed_mps, seen.sigma_mps, true};
            phase_before_silence_ = phase_;
            began_before_silence_ns_ = phase_began_ns_;
            enter(Phase::presumed_down, Moment::contact_lost, {seen.t_ns + seconds_to_ns(left_s), sigma_s});
            return;
        }
    }
    const double climb_s = ascends ? std::max(0.0, seen.speed_mps) / gravity : 0.0;
    double top_m = std::max(0.0, seen.height_m + 2.0 * seen.height_sigma_m) + 0.5 * gravity * climb_s * climb_s;
    if (!ascends) top_m = std::min(top_m, ceiling_m_);
    const double quickest_s = climb_s + fall_time_s(top_m, std::max(0.1, down_mps), gravity);
    const double slowest_s = climb_s + top_m / kSlowestDescent_mps + kDownBeyond_s;
    if (silent_s < slowest_s) return;
    last_seen_ = {seen.height_m, seen.height_sigma_m, seen.speed_mps, seen.sigma_mps, false};
    phase_before_silence_ = phase_;
    began_before_silence_ns_ = phase_began_ns_;
    enter(Phase::presumed_down, Moment::contact_lost,
          {t_input_ns_ + seconds_to_ns(0.5 * (quickest_s + slowest_s)), (slowest_s - quickest_s) / std::sqrt(12.0)});
}

void PhaseDetector::contact_again() {
    enter(phase_before_silence_, Moment::contact_again, {t_now_ns_, 0.0});
    phase_began_ns_ = began_before_silence_ns_;
}

/// After a landing, with an inertial sensor.
void PhaseDetector::watch_standing(const Force& force) {
    const double gravity = settings_.gravity_mps2;
    const double size = std::isfinite(force.magnitude_mps2) ? force.magnitude_mps2 : std::fabs(force.axial_mps2);
    const double landed_s = seconds_between(phase_began_ns_, force.t_ns);
    const bool still =
        std::fabs(size - gravity) < kHandledForce_mps2 && !(force.lateral_rate_rad_s > kHandledRate_rad_s);
    handled_ = handled_ || (!still && landed_s > kTippedOver_s);
    if (!still || force.axial_mps2 < kUprightShare * gravity) {
        stands_since_ns_ = 0;
        return;
    }
    if (stands_since_ns_ == 0) stands_since_ns_ = force.t_ns;
    const double stands_s = seconds_between(stands_since_ns_, force.t_ns);
    const bool by_hand = handled_ && landed_s > kNextFlight_s && stands_s > kStands_s;
    if (by_hand || (rebooted_ && stands_s > kStandsRebooted_s)) ready_again();
}

/// After a landing, with a barometer alone.
void PhaseDetector::watch_rest_by_heights() {
    if (!forces_.empty() && seconds_between(forces_.back().t_ns, t_now_ns_) < kInertialGone_s) return;
    const std::int64_t newest_ns = heights_.back().t_ns;
    const auto now_m = mean_height(newest_ns - seconds_to_ns(1.0), newest_ns);
    if (!now_m) return;
    if (still_since_ns_ == 0 || std::fabs(*now_m - still_height_m_) > kSameHeight_m + 3.0 * heights_.back().sigma_m) {
        still_since_ns_ = newest_ns;
        still_height_m_ = *now_m;
        return;
    }
    const double still_s = seconds_between(still_since_ns_, newest_ns);
    if (still_s > kRestBlind_s || (rebooted_ && still_s > kStands_s)) ready_again();
}

void PhaseDetector::ready_again() {
    const std::int64_t t_now_ns = t_now_ns_;
    const std::uint64_t found_count = found_count_;
    reset();
    t_now_ns_ = t_input_ns_ = t_now_ns;
    found_count_ = found_count;
    upright_s_ = kStands_s;
    enter(Phase::on_pad, Moment::ready_again, {t_now_ns, 1.0});
}

} // namespace turnstone
