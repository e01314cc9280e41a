#include "server/estimate/phases/silence.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kTerrain_m = 8.0;     ///< 1-sigma of the ground's height where a flight comes down, against the pad's
constexpr double kFalls_mps = 1.5;     ///< slower than this says nothing of an impact
constexpr double kDownBeyond_s = 30.0; ///< parachutes drift in rising air

/// Seconds to fall `height_m`, downward speed and acceleration positive.
double fall_time_s(double height_m, double speed_mps, double accel_mps2) {
    if (accel_mps2 < 0.1) return height_m / speed_mps;
    return (std::sqrt(speed_mps * speed_mps + 2.0 * accel_mps2 * height_m) - speed_mps) / accel_mps2;
}

} // namespace

MaybeFound SilenceWatch::heard(const Sight& sight) {
    return Found{{sight.evidence.now_ns(), 0.0}};
}

MaybeFound SilenceWatch::silent(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const Phase phase = sight.phase;
    const auto& speeds = evidence.speeds();
    const auto& settings = evidence.settings();
    if (speeds.empty()) return std::nullopt;
    const double silent_s = seconds_between(evidence.heard_ns(), evidence.now_ns());
    if (silent_s < kSilence_s) return std::nullopt;
    // The filter goes on predicting for a while: take what it knew when something was last received.
    const std::size_t after = speeds.since(evidence.heard_ns() + 1);
    const SpeedPoint& seen = speeds[after > 0 ? after - 1 : 0];
    const bool ascends = phase == Phase::under_thrust || phase == Phase::coasting;
    const double down_mps = -seen.speed_mps;
    last_seen_ = {seen.height_m, seen.height_sigma_m, seen.speed_mps, seen.sigma_mps, false};
    if (down_mps > kFalls_mps && seen.sigma_mps < 0.5 * down_mps) {
        // Without a parachute it still gains speed; under one, the slowing of the last second would not last.
        const bool falls_freely = ascends || phase == Phase::falling;
        const double gains_mps2 = falls_freely ? std::clamp(-seen.accel_mps2, 0.0, settings.gravity_mps2) : 0.0;
        const double left_s = fall_time_s(std::max(0.0, seen.height_m), down_mps, gains_mps2);
        if (left_s < kNearGround_s && seen.height_sigma_m < kNearGround_s * down_mps) {
            if (silent_s < left_s + kSilence_s) return std::nullopt;
            const bool parachute_to_come = phase != Phase::under_main && settings.parachutes > 0;
            const double slower_s = parachute_to_come ? left_s : 0.0;
            const double sigma_s = std::hypot(std::hypot(seen.height_sigma_m, kTerrain_m) / down_mps,
                                              seen.sigma_mps / down_mps * left_s, slower_s);
            last_seen_.near_ground = true;
            return Found{{seen.t_ns + seconds_to_ns(left_s), sigma_s}};
        }
    }
    const double gravity_mps2 = settings.gravity_mps2;
    const double climb_s = ascends ? std::max(0.0, seen.speed_mps) / gravity_mps2 : 0.0;
    double top_m = std::max(0.0, seen.height_m + 2.0 * seen.height_sigma_m) + 0.5 * gravity_mps2 * climb_s * climb_s;
    if (!ascends) top_m = std::min(top_m, ceiling_m_);
    const double quickest_s = climb_s + fall_time_s(top_m, std::max(0.1, down_mps), gravity_mps2);
    const double slowest_s = climb_s + top_m / kSlowestDescent_mps + kDownBeyond_s;
    if (silent_s < slowest_s) return std::nullopt;
    return Found{{evidence.heard_ns() + seconds_to_ns(0.5 * (quickest_s + slowest_s)),
                  (slowest_s - quickest_s) / std::sqrt(12.0)}};
}

} // namespace turnstone::estimate
