#include "server/estimate/phases/touchdown.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kImpactGroup_s = 2.0;
constexpr double kRestAfterImpact_s = 12.0;
constexpr double kImpactSigma_s = 0.006; ///< the ground gives a little
constexpr double kMeetsGround_s = 0.07;  ///< 1-sigma: heights on a line to the ground
constexpr double kByFixes_s = 0.2;       ///< 1-sigma: their heights scatter by metres
constexpr double kTipping_s = 1.2;       ///< from an impact to lying still

/// The impact itself, unless what was felt is the bay that tips over after an impact in a fade: that is so where the
/// fade is nearer to `when` the descent meets the ground.
TimeEstimate impact_of(const FlightEvidence& evidence, const Shock& shock, const TimeEstimate& when) {
    TimeEstimate found{shock.t_ns, std::max(kImpactSigma_s, shock.sigma_s)};
    const auto off_s = [&](const TimeEstimate& e) { return std::fabs(seconds_between(e.t_ns, when.t_ns)); };
    const auto& forces = evidence.forces();
    const std::size_t first = std::max<std::size_t>(forces.since(shock.t_ns - seconds_to_ns(kTipping_s)), 1);
    for (std::size_t i = first; i < forces.size() && forces[i].t_ns < shock.t_ns; ++i) {
        const std::int64_t before_ns = forces[i - 1].t_ns, after_ns = forces[i].t_ns;
        const double gap_s = seconds_between(before_ns, after_ns);
        if (gap_s < evidence.fade_s()) continue;
        const TimeEstimate hidden{std::clamp(when.t_ns, before_ns, after_ns),
                                  std::max(kImpactSigma_s, std::min(when.sigma_s, gap_s / std::sqrt(12.0)))};
        if (off_s(hidden) < off_s(found)) found = hidden;
    }
    return found;
}

TimeEstimate touchdown_time(const FlightEvidence& evidence, double ground_m) {
    const auto& heights = evidence.heights();
    const auto& shocks = evidence.shocks();
    std::size_t i = heights.size();
    const double near_m = 1.5 + 3.0 * heights.back().sigma_m;
    while (i > 0 && std::fabs(heights[i - 1].above_pad_m - ground_m) < near_m) --i;
    const std::int64_t near_ns = i < heights.size() ? heights[i].t_ns : evidence.now_ns();
    // Where the descent meets the ground, carried on through a fade.
    const std::int64_t before_ns = i > 0 ? heights[i - 1].t_ns : near_ns;
    const double gap_s = seconds_between(before_ns, near_ns);
    const double gone_s = std::max(evidence.fade_s(), 2.5 * evidence.height_period_s());
    const bool faded = gap_s > gone_s;
    const std::int64_t seen_ns = faded ? before_ns : near_ns;
    const auto descent = evidence.line_through_heights(seen_ns - seconds_to_ns(evidence.window_s(4.0, 5.0)), seen_ns);
    TimeEstimate when{before_ns + (near_ns - before_ns) / 2, std::max(0.5, gap_s / std::sqrt(12.0))};
    if (descent && descent->speed_mps < -1.0) {
        const double left_s = std::clamp((ground_m - descent->height_m) / descent->speed_mps, 0.0, faded ? gap_s : 2.0);
        when = {seen_ns + seconds_to_ns(left_s),
                std::hypot(kMeetsGround_s, 0.1 * left_s, 0.2 * evidence.height_period_s())};
        if (heights.back().by_fix) when.sigma_s = std::hypot(when.sigma_s, kByFixes_s);
    }
    // The impact, if it was felt. The packet with it may be lost, and the bay tipping over is felt a little later.
    for (std::size_t k = shocks.since(when.t_ns - seconds_to_ns(1.0 + when.sigma_s)); k < shocks.size(); ++k) {
        const double apart_s = std::fabs(seconds_between(when.t_ns, shocks[k].t_ns));
        if (apart_s < std::max(0.5, 3.0 * when.sigma_s)) return impact_of(evidence, shocks[k], when);
    }
    return when;
}

/// By forces alone: the first of the last group of shocks, since tipping over follows the impact; or the fade that hid
/// them.
std::optional<TimeEstimate> impact_before_rest(const FlightEvidence& evidence, std::int64_t began_ns) {
    const auto& forces = evidence.forces();
    const auto& shocks = evidence.shocks();
    const std::int64_t now_ns = evidence.now_ns();
    std::optional<TimeEstimate> impact;
    for (std::size_t i = shocks.size(); i-- > 0 && shocks[i].t_ns > began_ns;) {
        const std::int64_t later_ns = impact ? impact->t_ns : now_ns;
        if (seconds_between(shocks[i].t_last_ns, later_ns) > (impact ? kImpactGroup_s : kRestAfterImpact_s)) break;
        impact = {shocks[i].t_ns, std::max(kImpactSigma_s, shocks[i].sigma_s)};
    }
    const std::int64_t from_ns =
        impact ? impact->t_ns - seconds_to_ns(kTipping_s) : now_ns - seconds_to_ns(kRestAfterImpact_s);
    const std::int64_t to_ns = impact ? impact->t_ns : now_ns;
    for (std::size_t i = std::max<std::size_t>(forces.since(std::max(from_ns, began_ns)), 1);
         i < forces.size() && forces[i].t_ns < to_ns; ++i) {
        const std::int64_t before_ns = forces[i - 1].t_ns;
        const double gap_s = seconds_between(before_ns, forces[i].t_ns);
        // Hanging upright before, lying after: the impact is between, or the tip-over of an impact in a lost packet.
        if (gap_s < evidence.fade_s() || before_ns < began_ns) continue;
        return TimeEstimate{before_ns + (forces[i].t_ns - before_ns) / 2,
                            std::max(gap_s / std::sqrt(12.0), impact ? 0.1 : 0.5)};
    }
    return impact;
}

MaybeFound by_forces(const FlightEvidence& evidence, std::int64_t began_ns) {
    if (!evidence.barometer_gone() || !evidence.inertial_alive() || !evidence.inertial_at_rest(6.0, 0.2))
        return std::nullopt;
    // Hanging calmly under a parachute feels the same; a vehicle on the ground has tipped over.
    const double axial_mps2 = std::fabs(evidence.forces().back().axial_mps2);
    if (axial_mps2 > 0.6 * evidence.settings().gravity_mps2) return std::nullopt;
    // Nor does calm long after the last shock count: touchdown is a shock and then rest.
    const auto impact = impact_before_rest(evidence, began_ns);
    return impact ? MaybeFound(Found{*impact}) : std::nullopt;
}

} // namespace

MaybeFound TouchdownWatch::rest(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const std::int64_t now_ns = evidence.now_ns();
    if (!sight.apogee_ns || seconds_between(*sight.apogee_ns, now_ns) < 4.0) return std::nullopt;
    if (!evidence.barometer_alive()) return by_forces(evidence, sight.began_ns);
    if (evidence.moves_by_fixes()) return std::nullopt;
    const bool inertial = evidence.inertial_alive();
    if (inertial && !evidence.inertial_at_rest(1.5, 0.6)) return std::nullopt;
    const double window_s = evidence.window_s(inertial ? 2.0 : 4.0, inertial ? 4.5 : 6.5);
    const std::int64_t from_ns = now_ns - seconds_to_ns(window_s);
    const std::int64_t third_ns = seconds_to_ns(window_s / 3);
    const auto line = evidence.line_through_heights(from_ns, now_ns);
    const auto first_m = evidence.mean_height_m(from_ns, from_ns + third_ns);
    const auto middle_m = evidence.mean_height_m(from_ns + third_ns, now_ns - third_ns);
    const auto last_m = evidence.mean_height_m(now_ns - third_ns, now_ns);
    if (!line || line->points < evidence.heights_in(window_s, 12) || !first_m || !middle_m || !last_m)
        return std::nullopt;
    const double sigma_m = evidence.heights().back().sigma_m;
    if (std::fabs(line->speed_mps) > 0.8 || line->spread_m > 1.0 + 3.0 * sigma_m) return std::nullopt;
    const double limit_m = 1.0 + 2.0 * sigma_m;
    if (std::fabs(*first_m - *middle_m) > limit_m || std::fabs(*middle_m - *last_m) > limit_m) return std::nullopt;
    return Found{touchdown_time(evidence, *last_m)};
}

} // namespace turnstone::estimate
