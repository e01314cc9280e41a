#include "server/estimate/phases/descent.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "server/estimate/phases/climb_bend.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kHangsWithin_s = 15.0; ///< in a dive drag takes longer to equal the weight
constexpr double kDeployBeforeApogee_s = 2.0;
constexpr double kChargeBefore_s = 1.5;    ///< a parachute's own shock follows its charge within this
constexpr double kParachuteSettle_s = 2.0; ///< after one is out, before the next is looked for
constexpr double kParachuteAfterCharge_s = 1.2;
constexpr double kBreak_s_per_m = 0.3; ///< of a break in a descent of some 20 m/s, by coarse heights
constexpr double kForgetsDive_s = 10.0;
constexpr double kSlowedLasts_s = 0.44;
constexpr double kFilterSure_mps = 2.0; ///< 1-sigma of a speed that says how fast it comes down
constexpr double kSlowsAt = 0.7;        ///< of the fastest speed: it has slowed down by more than fixes scatter
constexpr double kSlowsLate_s = 0.6;    ///< after its charge: how a parachute fills, and what fixes are late by
constexpr double kSlowsSigma_s = 0.3;
constexpr double kChargeTurns_radps = 1.2; ///< within the gap of a packet; hanging and swinging turn more slowly

/// When the packet with the charge was lost, the first shock seen may be the parachute's. The charge sets the body
/// turning, so it is in the first gap across which the lateral rate jumps.
TimeEstimate charge(const FlightEvidence& evidence, const Shock& shock, std::int64_t from_ns) {
    const auto& forces = evidence.forces();
    for (std::size_t i = std::max<std::size_t>(forces.since(from_ns), 1);
         i < forces.size() && forces[i].t_ns < shock.t_ns; ++i) {
        const std::int64_t before_ns = forces[i - 1].t_ns;
        const std::int64_t after_ns = forces[i].t_ns;
        const double gap_s = seconds_between(before_ns, after_ns);
        if (gap_s < evidence.lost_packet_s()) continue;
        const double jump_radps = evidence.mean_rate_radps(after_ns, after_ns + seconds_to_ns(0.008)) -
                                  evidence.mean_rate_radps(before_ns - seconds_to_ns(0.05), before_ns);
        if (std::fabs(jump_radps) < kChargeTurns_radps) continue;
        return {before_ns + (after_ns - before_ns) / 2, std::max(0.002, gap_s / std::sqrt(12.0))};
    }
    // Reception came back just before it: the charge was in the fade, or before this shock.
    const std::int64_t earliest_ns = shock.t_ns - seconds_to_ns(kParachuteAfterCharge_s);
    if (const auto fade = evidence.fade_between(earliest_ns, shock.t_ns))
        return {std::max(fade->t_ns, shock.t_ns - seconds_to_ns(kParachuteAfterCharge_s / 2.0)),
                kParachuteAfterCharge_s / 3.0};
    return {shock.t_ns, shock.sigma_s};
}

/// Downwards is negative.
struct Descent {
    double slow_mps, quick_mps; ///< over a while, and of late
    bool steady;                ///< over that while
};

std::optional<Descent> descent_by_heights(const FlightEvidence& evidence) {
    const std::int64_t now_ns = evidence.now_ns();
    const double slow_s = evidence.window_s(1.5, 4.2);
    const auto slow = evidence.line_through_heights(now_ns - seconds_to_ns(slow_s), now_ns);
    const auto quick = evidence.line_through_heights(now_ns - seconds_to_ns(evidence.window_s(0.7, 2.2)), now_ns);
    if (!slow || !quick || slow->points < evidence.heights_in(slow_s, 6)) return std::nullopt;
    const bool steady = slow->spread_m < 3.0 + 3.0 * evidence.heights().back().sigma_m;
    return Descent{slow->speed_mps, quick->speed_mps, steady};
}

/// The filter's speed, where fixes stand in for heights: a receiver measures speed far better than height.
std::optional<Descent> descent_by_fixes(const FlightEvidence& evidence) {
    const auto& speeds = evidence.speeds();
    const std::size_t first = speeds.since(evidence.now_ns() - seconds_to_ns(evidence.window_s(1.5, 4.2)));
    if (first + 2 >= speeds.size() || !(speeds.back().sigma_mps < kFilterSure_mps)) return std::nullopt;
    double sum_mps = 0.0;
    for (std::size_t i = first; i < speeds.size(); ++i) sum_mps += speeds[i].speed_mps;
    return Descent{sum_mps / static_cast<double>(speeds.size() - first), speeds.back().speed_mps, true};
}

/// Between two heights that are far apart nobody knows when.
void widen_by_gap(const FlightEvidence& evidence, TimeEstimate& when) {
    const auto& heights = evidence.heights();
    const std::size_t after = heights.since(when.t_ns);
    if (after > 0 && after < heights.size())
        when.sigma_s = std::max(when.sigma_s, seconds_between(heights[after - 1].t_ns, heights[after].t_ns) / 2.0);
}

/// By heights: where two parabolas meet.
TimeEstimate slowed_by_heights(const FlightEvidence& evidence) {
    const auto& heights = evidence.heights();
    const std::int64_t now_ns = evidence.now_ns();
    std::vector<double> t_s;
    std::vector<double> height_m;
    for (std::size_t i = heights.since(now_ns - seconds_to_ns(evidence.window_s(4.0, 14.0))); i < heights.size(); ++i) {
        t_s.push_back(seconds_between(now_ns, heights[i].t_ns));
        height_m.push_back(heights[i].above_pad_m);
    }
    const double period_s = evidence.height_period_s();
    TimeEstimate when{now_ns - seconds_to_ns(evidence.window_s(1.5, 2.5)), evidence.window_s(0.7, 1.0)};
    if (const auto found = break_between_parabolas(t_s, height_m, false))
        when = {now_ns + seconds_to_ns(found->t_s),
                std::max({0.2, found->sigma_s, 0.5 * period_s, kBreak_s_per_m * heights.back().sigma_m})};
    widen_by_gap(evidence, when);
    return when;
}

/// By the filter's speeds: back from now, after the last that was as fast as before.
TimeEstimate slowed_by_fixes(const FlightEvidence& evidence, double fastest_mps) {
    const auto& speeds = evidence.speeds();
    const std::int64_t now_ns = evidence.now_ns();
    const std::size_t first = speeds.since(now_ns - seconds_to_ns(evidence.window_s(4.0, 14.0)));
    std::size_t last = speeds.size();
    while (last > first + 1 && speeds[last - 1].speed_mps > kSlowsAt * fastest_mps) --last;
    const std::int64_t fast_ns = speeds[last - 1].t_ns, slower_ns = speeds[std::min(last, speeds.size() - 1)].t_ns;
    TimeEstimate when{fast_ns + (slower_ns - fast_ns) / 2 - seconds_to_ns(kSlowsLate_s),
                      std::hypot(kSlowsSigma_s, 0.5 * evidence.height_period_s())};
    widen_by_gap(evidence, when);
    return when;
}

/// `when` it slowed down is near when the charge fired.
TimeEstimate main_onset(const FlightEvidence& evidence, std::int64_t began_ns, TimeEstimate when) {
    const std::int64_t now_ns = evidence.now_ns();
    const auto fade = evidence.fade_between(now_ns - seconds_to_ns(5.0), now_ns);
    // The charge fires before the parachute pulls: the first shock or pulse of the newest group that began near the
    // break.
    const auto& shocks = evidence.shocks();
    const std::size_t from = shocks.since(std::max(when.t_ns - seconds_to_ns(2.5), began_ns + seconds_to_ns(1.0)));
    for (std::size_t i = from; i < shocks.size(); ++i)
        if (shocks[i].t_ns <= when.t_ns + seconds_to_ns(1.5))
            return charge(evidence, shocks[i], shocks[from].t_ns - seconds_to_ns(1.0));
    if (fade) when = {fade->t_ns, std::hypot(fade->sigma_s, 0.5 * seconds_between(fade->t_ns, when.t_ns))};
    return when;
}

/// The first parachute to open.
MaybeFound first_opening(const Sight& sight) {
    if (!sight.apogee_ns) return std::nullopt;
    const FlightEvidence& evidence = sight.evidence;
    const std::int64_t apogee_ns = *sight.apogee_ns;
    const auto& shocks = evidence.shocks();
    const std::int64_t now_ns = evidence.now_ns();
    const std::int64_t from_ns = apogee_ns - seconds_to_ns(kDeployBeforeApogee_s);
    const std::size_t first = shocks.since(from_ns);
    if (first < shocks.size()) return Found{charge(evidence, shocks[first], from_ns)};
    // No shock, yet slower than free fall for long: something is open, and its opening was not seen.
    const double since_s = seconds_between(apogee_ns, now_ns);
    if (since_s < 4.0) return std::nullopt;
    const TimeEstimate unseen =
        evidence.fade_between(from_ns, now_ns).value_or(TimeEstimate{apogee_ns + seconds_to_ns(1.0), 0.75});
    if (!evidence.barometer_alive()) {
        const bool hangs = evidence.barometer_gone() && since_s < kHangsWithin_s && evidence.hangs();
        return hangs ? MaybeFound(Found{unseen}) : std::nullopt;
    }
    const double new_s = evidence.window_s(1.5, 3.2);
    const double old_s = evidence.window_s(2.0, 3.2);
    const auto line = evidence.line_through_heights(now_ns - seconds_to_ns(new_s), now_ns);
    const auto before =
        evidence.line_through_heights(now_ns - seconds_to_ns(new_s + old_s), now_ns - seconds_to_ns(new_s));
    if (!line || !before || line->points < evidence.heights_in(new_s, 10) ||
        before->points < evidence.heights_in(old_s, 10))
        return std::nullopt;
    const bool steady = std::fabs(line->speed_mps - before->speed_mps) < 0.15 * std::fabs(line->speed_mps) + 0.5;
    if (!steady || line->speed_mps > -1.0 || line->speed_mps < -60.0) return std::nullopt;
    return Found{unseen};
}

} // namespace

MaybeFound DescentWatch::drogue(const Sight& sight) {
    return sight.evidence.settings().parachutes == 1 ? std::nullopt : first_opening(sight);
}

MaybeFound DescentWatch::only_main(const Sight& sight) {
    return sight.evidence.settings().parachutes == 1 ? first_opening(sight) : std::nullopt;
}

MaybeFound DescentWatch::main_by_shock(const Sight& sight) {
    return sight.evidence.barometer_alive() ? std::nullopt : main(sight);
}

MaybeFound DescentWatch::main(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const std::int64_t began_ns = sight.began_ns;
    const std::int64_t now_ns = evidence.now_ns();
    if (seconds_between(began_ns, now_ns) < kParachuteSettle_s) return std::nullopt;
    if (!evidence.barometer_alive()) {
        // Without heights a second shock must do.
        const auto& shocks = evidence.shocks();
        const std::size_t first = shocks.since(began_ns + seconds_to_ns(kParachuteSettle_s));
        if (first >= shocks.size()) return std::nullopt;
        return Found{charge(evidence, shocks[first], shocks[first].t_ns - seconds_to_ns(kChargeBefore_s))};
    }
    const bool by_fix = evidence.heights().back().by_fix;
    std::optional<Descent> descent = by_fix ? descent_by_fixes(evidence) : std::nullopt;
    const bool by_speed = descent.has_value();
    if (!descent) descent = descent_by_heights(evidence);
    if (!descent) return std::nullopt;
    if (descent->steady) fastest_mps_ = std::min(fastest_mps_, descent->slow_mps);
    // A drogue that opens in a dive slows it down too: forget the dive, but slowly enough that a main parachute still
    // shows.
    const double step_s = looked_ns_ == 0 ? 0.0 : seconds_between(looked_ns_, now_ns);
    looked_ns_ = now_ns;
    fastest_mps_ += -std::expm1(-step_s / kForgetsDive_s) * (descent->slow_mps - fastest_mps_);
    if (fastest_mps_ > -7.0) return std::nullopt;
    const bool slower = descent->quick_mps > 0.55 * fastest_mps_;
    slowed_ = slower ? slowed_ + 1 : 0;
    if (slowed_ == 1) slowed_since_ns_ = now_ns;
    if (slowed_ < 2 || seconds_between(slowed_since_ns_, now_ns) < kSlowedLasts_s) return std::nullopt;
    return Found{main_onset(evidence, began_ns,
                            by_speed ? slowed_by_fixes(evidence, fastest_mps_) : slowed_by_heights(evidence))};
}

} // namespace turnstone::estimate
