#include "server/estimate/phases/liftoff.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kUprightNeeded_s = 1.0;
/// Weightless for longer than anything thrown by hand: it flies.
constexpr double kWeightless_s = 1.8;
constexpr double kWeightlessFraction = 0.5;
constexpr double kLaunchInFade_s = 0.3;
constexpr double kFadeBeforeFlight_s = 8.0;
constexpr double kRestForce_mps2 = 1.5;
constexpr double kClimb_mps = 10.0;
constexpr double kClimbThrough_m = 30.0;
constexpr double kOnsetByForceSigma_s = 0.002;
constexpr double kOnsetSigma_s = 0.055;  ///< by heights
constexpr double kByFixesSigma_s = 0.3;  ///< whose heights scatter by metres
constexpr double kUnheard_s = 3.0;       ///< long enough for a launch to get far
constexpr double kRoseUnheard_m = 100.0; ///< nobody carries it that far up meanwhile
constexpr double kSlope_s_per_m = 1.5;   ///< how long coarse heights must be looked at for their slope

/// It is lifted gently, or the pressure around it changes: the inertial sensor then feels gravity, which it does in no
/// flight.
bool feels_its_weight(const FlightEvidence& evidence) {
    const auto& forces = evidence.forces();
    const double gravity_mps2 = evidence.settings().gravity_mps2;
    double sum = 0.0;
    const std::size_t first = forces.since(evidence.now_ns() - seconds_to_ns(0.5));
    for (std::size_t i = first; i < forces.size(); ++i)
        sum += std::isfinite(forces[i].magnitude_mps2) ? forces[i].magnitude_mps2 : forces[i].axial_mps2;
    const double n = static_cast<double>(forces.size() - first);
    return n > 0.0 && std::fabs(sum / n - gravity_mps2) < 0.25 * gravity_mps2;
}

/// Enough to fill the least time, half of them lost.
int samples_of_thrust(const FlightEvidence& evidence) {
    const double period_s = evidence.force_period_s();
    return period_s > 0.0 ? std::clamp(static_cast<int>(0.5 * LiftoffWatch::kThrustTime_s / period_s), 2, 8) : 8;
}

TimeEstimate climb_onset(const FlightEvidence& evidence) {
    const auto& heights = evidence.heights();
    std::size_t first = heights.size();
    while (first > 0 && heights[first - 1].above_pad_m > std::max(2.0, 5.0 * heights[first - 1].sigma_m)) --first;
    if (first == heights.size()) return {evidence.now_ns(), 1.0};
    const std::int64_t t_first_ns = heights[first].t_ns;
    const std::int64_t t_before_ns = first > 0 ? heights[first - 1].t_ns : t_first_ns - seconds_to_ns(5.0);
    const double gap_s = seconds_between(t_before_ns, t_first_ns);
    double n = 0, st = 0, sr = 0, stt = 0, str = 0;
    for (std::size_t i = first;
         i < heights.size() && seconds_between(t_first_ns, heights[i].t_ns) < evidence.window_s(0.8, 1.2); ++i) {
        const double t = seconds_between(t_first_ns, heights[i].t_ns);
        const double root = std::sqrt(heights[i].above_pad_m);
        n += 1, st += t, sr += root, stt += t * t, str += t * root;
    }
    const double det = n * stt - st * st;
    const double slope = det > 0.0 ? (n * str - st * sr) / det : 0.0;
    const double value = (sr - slope * st) / std::max(n, 1.0);
    const double ago_s = slope > 0.5 ? value / slope : gap_s / 2.0;
    // With a sample just before the climb the onset is near it; thrust that started in a gap is dated inside the gap.
    const double gone_s = std::max(evidence.fade_s(), 2.5 * evidence.height_period_s());
    const bool faded = gap_s > gone_s;
    const std::int64_t earliest_ns = faded ? t_before_ns : t_before_ns - seconds_to_ns(evidence.window_s(0.5, 0.5));
    const std::int64_t t_ns = std::clamp(t_first_ns - seconds_to_ns(ago_s), earliest_ns, t_first_ns);
    const double period_s = evidence.height_period_s();
    if (!faded)
        return {t_ns, std::hypot(kOnsetSigma_s, 0.06 * period_s, heights[first].by_fix ? kByFixesSigma_s : 0.0)};
    // Where it climbed before the gap, thrust made the receiver lose its fixes.
    return {t_ns, t_ns == t_before_ns ? std::hypot(kOnsetSigma_s, 0.5 * period_s) : std::max(0.1, 0.2 * gap_s)};
}

} // namespace

LiftoffWatch::LiftoffWatch(const PhaseSettings& settings, double upright_s)
    : rest_axial_mps2_(settings.gravity_mps2), upright_s_(upright_s), rest_seen_(upright_s > 0.0) {}

MaybeFound LiftoffWatch::force(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    follow(evidence);
    if (auto found = by_thrust(evidence)) return found;
    return in_fade(evidence);
}

void LiftoffWatch::follow(const FlightEvidence& evidence) {
    const auto& forces = evidence.forces();
    const Force& force = forces.back();
    const bool first = forces.size() < 2;
    const Force& before = first ? force : forces[forces.size() - 2];
    const double gravity_mps2 = evidence.settings().gravity_mps2;
    const double dt_s = first ? 0.0 : seconds_between(before.t_ns, force.t_ns);
    const double excess_mps2 = force.axial_mps2 - rest_axial_mps2_;
    if (!thrust_.active && std::fabs(force.size_mps2() - gravity_mps2) < evidence.rest_force_mps2(kRestForce_mps2)) {
        const double step_s = std::min(dt_s, std::max(0.1, 1.5 * evidence.force_period_s()));
        if (force.axial_mps2 > 0.75 * gravity_mps2) {
            upright_s_ = std::min(upright_s_ + step_s, 10.0);
            leaning_s_ = 0.0;
            rest_axial_mps2_ += step_s / 2.0 * std::clamp(excess_mps2, -1.0, 1.0);
        } else {
            leaning_s_ += step_s;
            if (leaning_s_ > 1.0) upright_s_ = 0.0;
        }
    }
    if (!thrust_.active) {
        if (excess_mps2 <= kThrust_mps2) return;
        const auto ground_m = evidence.mean_height_m(force.t_ns - seconds_to_ns(3.0), force.t_ns);
        thrust_ = {.active = true,
                   .t_before_ns = before.t_ns,
                   .t_first_ns = force.t_ns,
                   .t_last_ns = force.t_ns,
                   .t_above_ns = force.t_ns,
                   .start_height_m = ground_m.value_or(kNaN),
                   .samples = 1};
        return;
    }
    // A gap inside the run counts up to two lost packets; the rest of it is unknown.
    const double counted_s = std::min(dt_s, std::max(0.3, 1.5 * evidence.force_period_s()));
    thrust_.travelled_m += thrust_.gained_mps * counted_s;
    thrust_.gained_mps += 0.5 * (before.axial_mps2 - rest_axial_mps2_ + excess_mps2) * counted_s;
    thrust_.t_last_ns = force.t_ns;
    ++thrust_.samples;
    if (std::isfinite(force.lateral_rate_radps)) thrust_.rate_sum_radps += force.lateral_rate_radps;
    if (excess_mps2 > 0.5 * kThrust_mps2)
        thrust_.t_above_ns = force.t_ns;
    else if (seconds_between(thrust_.t_above_ns, force.t_ns) > std::max(0.05, 1.2 * evidence.force_period_s()))
        thrust_.active = false;
}

MaybeFound LiftoffWatch::by_thrust(const FlightEvidence& evidence) {
    // Under a parachute it hangs upright too: heights decide where there are any.
    if (upright_s_ >= kUprightNeeded_s && !evidence.barometer_alive()) rest_seen_ = true;
    if (!thrust_.active || thrust_.samples < samples_of_thrust(evidence) || upright_s_ < kUprightNeeded_s)
        return std::nullopt;
    if (seconds_between(thrust_.t_first_ns, thrust_.t_last_ns) < kThrustTime_s) return std::nullopt;
    if (thrust_.gained_mps < kThrustSpeed_mps) return std::nullopt;
    if (thrust_.rate_sum_radps / thrust_.samples > kLateralRate_radps) return std::nullopt;
    const Force& now = evidence.forces().back();
    if (std::isfinite(now.magnitude_mps2) && now.axial_mps2 < 0.7 * now.magnitude_mps2) return std::nullopt;
    // A fix comes later than thrust, and jumps by metres.
    const bool asks_barometer = evidence.barometer_alive() && !evidence.heights().back().by_fix;
    if (asks_barometer && std::isfinite(thrust_.start_height_m)) {
        const HeightPoint& newest = evidence.heights().back();
        const auto risen_m = evidence.mean_height_m(newest.t_ns - seconds_to_ns(0.1), newest.t_ns);
        const double rise_m = risen_m.value_or(0.0) - thrust_.start_height_m;
        const double needed_m = std::max({kThrustRise_m, 5.0 * newest.sigma_m, 0.25 * thrust_.travelled_m});
        // No arm gives that much: the barometer must be stuck.
        const bool beyond_arms = thrust_.gained_mps > 40.0 && thrust_.travelled_m > 40.0;
        if (rise_m < needed_m && !beyond_arms) return std::nullopt;
    } else if (thrust_.gained_mps < kThrustSpeedAlone_mps) {
        return std::nullopt;
    }
    thrust_.active = false;
    return Found{thrust_onset(evidence)};
}

/// Liftoff and thrust in a fade, by forces alone: upright rest before it, and soon after it no weight for long.
MaybeFound LiftoffWatch::in_fade(const FlightEvidence& evidence) {
    const Force& now = evidence.forces().back();
    if (!(now.magnitude_mps2 < kWeightlessFraction * evidence.settings().gravity_mps2)) {
        weightless_since_ns_ = 0;
        return std::nullopt;
    }
    if (weightless_since_ns_ == 0) weightless_since_ns_ = now.t_ns;
    if (seconds_between(weightless_since_ns_, now.t_ns) < kWeightless_s || upright_s_ < kUprightNeeded_s ||
        evidence.barometer_alive())
        return std::nullopt;
    const auto fade = evidence.fade_between(now.t_ns - seconds_to_ns(kFadeBeforeFlight_s), weightless_since_ns_ + 1);
    if (!fade || fade->sigma_s < kLaunchInFade_s / std::sqrt(12.0)) return std::nullopt;
    thrust_.active = false;
    return Found{*fade, TimeEstimate{fade->t_ns, 2.0 * fade->sigma_s}};
}

bool climbs_through(const FlightEvidence& evidence, double above_m) {
    const auto& heights = evidence.heights();
    const HeightPoint& newest = heights.back();
    if (newest.above_pad_m < above_m) return false;
    if (evidence.inertial_alive() && feels_its_weight(evidence)) return false;
    const std::size_t first = heights.since(newest.t_ns - seconds_to_ns(evidence.window_s(1.2, 3.2)));
    const std::size_t count = heights.size() - first;
    const double span_s = seconds_between(heights[first].t_ns, newest.t_ns);
    if (count < 3 || span_s < 0.6) return false;
    const std::size_t parts = std::min<std::size_t>(count, 4);
    double before_m = -1e9;
    for (std::size_t part = 0; part < parts; ++part) {
        double sum = 0.0;
        const std::size_t begin = first + part * count / parts;
        const std::size_t end = first + (part + 1) * count / parts;
        for (std::size_t i = begin; i < end; ++i) sum += heights[i].above_pad_m;
        const double mean_m = sum / static_cast<double>(end - begin);
        // Ten metres a second over a part of the window's true length, less noise; the first may still stand.
        const double rise_m = kClimb_mps * span_s / static_cast<double>(parts) * (part == 1 ? 0.2 : 1.0);
        if (part > 0 && mean_m - before_m < rise_m) return false;
        before_m = mean_m;
    }
    // Few and wild heights are not a climb.
    return count >= 6 || newest.above_pad_m > heights[first].above_pad_m + 12.0 * newest.sigma_m;
}

void LiftoffWatch::follow_height(const HeightPoint& newest) {
    if (t_height_ns_ != 0 && seconds_between(t_height_ns_, newest.t_ns) > kUnheard_s)
        rose_unheard_ = newest.above_pad_m > height_m_ + kRoseUnheard_m;
    t_height_ns_ = newest.t_ns;
    height_m_ = newest.above_pad_m;
}

MaybeFound LiftoffWatch::height(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    follow_height(evidence.heights().back());
    if (auto found = by_thrust(evidence)) return found;
    const auto& heights = evidence.heights();
    if (!rest_seen_) {
        const double window_s = std::max(evidence.window_s(kSeenRest_s, 3.2), kSlope_s_per_m * heights.back().sigma_m);
        const auto line = evidence.line_through_heights(evidence.now_ns() - seconds_to_ns(window_s), evidence.now_ns());
        const double noise_m = heights.back().sigma_m;
        rest_seen_ = line && line->points >= evidence.heights_in(window_s, 8) &&
                     std::fabs(line->speed_mps) < 1.0 + noise_m / window_s && line->spread_m < 0.5 + 1.5 * noise_m &&
                     seconds_between(heights[0].t_ns, evidence.now_ns()) > 0.8 * window_s && !evidence.moves_by_fixes();
    }
    if (!rest_seen_ || !climbs_through(evidence, kClimbThrough_m)) return std::nullopt;
    thrust_.active = false;
    return Found{climb_onset(evidence)};
}

MaybeFound LiftoffWatch::joined(const Sight& sight) const {
    const FlightEvidence& evidence = sight.evidence;
    if (rest_seen_ && !rose_unheard_) return std::nullopt;
    const std::int64_t now_ns = evidence.now_ns();
    const double window_s = std::max(evidence.window_s(2.0, 4.2), kSlope_s_per_m * evidence.heights().back().sigma_m);
    const std::int64_t from_ns = now_ns - seconds_to_ns(window_s);
    const auto line = evidence.line_through_heights(from_ns, now_ns);
    if (!line || line->points < evidence.heights_in(window_s, 8)) return std::nullopt;
    // Those of a moment behind a fade have any slope, and behind a long one the pad's pressure may be a better one: a
    // step of heights is not a descent.
    const auto& heights = evidence.heights();
    std::size_t i = heights.since(from_ns);
    if (seconds_between(heights[i].t_ns, now_ns) < 0.8 * window_s) return std::nullopt;
    while (++i < heights.size())
        if (seconds_between(heights[i - 1].t_ns, heights[i].t_ns) > 0.5 * window_s) return std::nullopt;
    const Found when{{now_ns, 0.0}};
    if (climbs_through(evidence, -1e9)) return Found{when.when, {}, Phase::coasting};
    const double noise_mps = 3.0 * evidence.heights().back().sigma_m / window_s;
    if (line->speed_mps > -std::max(kDescends_mps, noise_mps) || line->spread_m > 3.0 - 0.5 * line->speed_mps)
        return std::nullopt;
    // How fast it comes down says what carries it.
    const bool free = line->speed_mps < -45.0;
    const bool by_drogue = line->speed_mps < -12.0 && evidence.settings().parachutes > 1;
    return Found{when.when, {}, free ? Phase::falling : by_drogue ? Phase::under_drogue : Phase::under_main};
}

MaybeFound LiftoffWatch::withdrawal(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const std::int64_t now_ns = evidence.now_ns();
    if (seconds_between(sight.began_ns, now_ns) > kWithdraw_s) return std::nullopt;
    if (seconds_between(sight.found_ns, now_ns) < 1.5 || !evidence.barometer_alive()) return std::nullopt;
    if (evidence.moves_by_fixes() || !evidence.inertial_at_rest(1.0, 0.5)) return std::nullopt;
    const auto height_m = evidence.mean_height_m(now_ns - seconds_to_ns(evidence.window_s(0.5, 1.1)), now_ns);
    if (!height_m || std::fabs(*height_m) > 8.0) return std::nullopt;
    return Found{{now_ns, 0.5}};
}

TimeEstimate LiftoffWatch::thrust_onset(const FlightEvidence& evidence) const {
    const auto& forces = evidence.forces();
    const double gap_s = seconds_between(thrust_.t_before_ns, thrust_.t_first_ns);
    if (gap_s > evidence.seen_gap_s() && evidence.barometer_alive() && std::isfinite(thrust_.start_height_m)) {
        // Thrust began unseen. Uniform acceleration since then: rise = a t^2 / 2.
        const double duration_s = seconds_between(thrust_.t_first_ns, thrust_.t_last_ns);
        const double accel_mps2 = duration_s > 0.0 ? thrust_.gained_mps / duration_s : 50.0;
        const std::int64_t newest_ns = evidence.heights().back().t_ns;
        const auto risen_m = evidence.mean_height_m(newest_ns - seconds_to_ns(0.1), newest_ns);
        const double rise_m = std::max(0.0, risen_m.value_or(0.0) - thrust_.start_height_m);
        const double ago_s = std::sqrt(2.0 * rise_m / std::max(accel_mps2, 5.0)) + 0.03;
        const std::int64_t t_ns = std::clamp(newest_ns - seconds_to_ns(ago_s), thrust_.t_before_ns, thrust_.t_first_ns);
        return {t_ns, std::clamp(0.15 * ago_s, 0.03, gap_s)};
    }
    if (gap_s > evidence.seen_gap_s()) return {(thrust_.t_before_ns + thrust_.t_first_ns) / 2, gap_s / std::sqrt(12.0)};
    // Slow ramps begin below the threshold: go back while the force is above rest.
    std::size_t i = forces.since(thrust_.t_first_ns);
    const double rest_mps2 = rest_axial_mps2_ + std::max(1.0, 4.0 * evidence.settings().accel_noise_mps2);
    while (i > 0 && forces[i - 1].axial_mps2 > rest_mps2 &&
           seconds_between(forces[i - 1].t_ns, forces[i].t_ns) < evidence.seen_gap_s())
        --i;
    const double spacing_s = i > 0 ? seconds_between(forces[i - 1].t_ns, forces[i].t_ns) : gap_s;
    return {forces[i].t_ns - seconds_to_ns(0.5 * spacing_s),
            std::max(kOnsetByForceSigma_s, spacing_s / std::sqrt(12.0))};
}

} // namespace turnstone::estimate
