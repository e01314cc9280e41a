#include "server/estimate/phases/burnout.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "server/estimate/phases/climb_bend.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kSpeedByHeights_mps = 8.0; ///< 1-sigma, ports included
constexpr double kCoastSeen_s = 1.0;        ///< by heights alone
constexpr double kCoastLasts_s = 0.15;
constexpr double kTailUnseen_s = 0.02; ///< of the end of thrust
constexpr double kThrustEndSigma_s = 0.0025;

TimeEstimate middle_of(std::int64_t from_ns, std::int64_t to_ns) {
    return {from_ns + (to_ns - from_ns) / 2, seconds_between(from_ns, to_ns) / std::sqrt(12.0)};
}

/// Thrust ended while nothing was received. Speeds before and after, each with its acceleration, say when.
TimeEstimate thrust_end_in_gap(const FlightEvidence& evidence, std::int64_t before_ns, std::size_t crossed,
                               std::int64_t liftoff_ns) {
    const auto& settings = evidence.settings();
    const std::int64_t crossed_ns = evidence.forces()[crossed].t_ns;
    const std::int64_t from_ns = std::max(before_ns, liftoff_ns);
    const double gap_s = seconds_between(from_ns, crossed_ns);
    const auto after = evidence.line_through_heights(crossed_ns, evidence.now_ns());
    if (!after || after->points < 4 || after->speed_mps < 5.0) return middle_of(from_ns, crossed_ns);
    double ended_s = 0.0; // after from_ns
    double sigma_s = std::max(0.06, 0.15 * gap_s);
    const double now_s = seconds_between(from_ns, evidence.now_ns());
    const auto& speeds = evidence.speeds();
    const std::size_t k = speeds.since(before_ns + 1);
    if (before_ns > liftoff_ns && k > 0) {
        const SpeedPoint& before = speeds[k - 1];
        const double after_mps2 = evidence.forces()[crossed].axial_mps2 - settings.gravity_mps2;
        const double change_mps2 = before.accel_mps2 - after_mps2;
        if (change_mps2 < 10.0) return middle_of(from_ns, crossed_ns);
        ended_s = (after->speed_mps - before.speed_mps - after_mps2 * now_s) / change_mps2 + settings.bend_to_burnout_s;
        sigma_s = std::hypot(kSpeedByHeights_mps / change_mps2, 0.1 * ended_s);
    } else {
        // All of the thrust was missed: uniform acceleration to the present speed, then about that speed.
        ended_s = 2.0 * (now_s - after->height_m / after->speed_mps);
    }
    return {from_ns + seconds_to_ns(std::clamp(ended_s, 0.0, gap_s)), sigma_s};
}

TimeEstimate thrust_end(const FlightEvidence& evidence, std::int64_t crossed_ns, std::int64_t liftoff_ns) {
    const auto& forces = evidence.forces();
    const std::size_t crossed = forces.since(crossed_ns);
    if (crossed >= forces.size()) return {crossed_ns, 0.1};
    if (crossed > 0) {
        const std::int64_t before_ns = forces[crossed - 1].t_ns;
        if (seconds_between(before_ns, crossed_ns) > evidence.seen_gap_s())
            return thrust_end_in_gap(evidence, before_ns, crossed, liftoff_ns);
    }
    // The tail of thrust crosses zero net axial force before it ends; it ends where the force settles on drag alone.
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = forces.since(crossed_ns + seconds_to_ns(0.09)); i < forces.size(); ++i) {
        sum += forces[i].axial_mps2;
        ++count;
    }
    if (count == 0) return {crossed_ns, 0.05};
    const double near_mps2 = sum / count + std::max(0.8, 3.0 * evidence.settings().accel_noise_mps2);
    std::size_t i = crossed;
    while (i + 1 < forces.size() && forces[i].axial_mps2 > near_mps2) ++i;
    // A lost packet or a fade on the way hides the exact time.
    double widest_s = 0.0;
    for (std::size_t k = std::max<std::size_t>(crossed, 1); k <= i; ++k)
        widest_s = std::max(widest_s, seconds_between(forces[k - 1].t_ns, forces[k].t_ns));
    // A sample is the mean over the interval before it. The one in which thrust ends still shows it, but for the last
    // of its tail, so that the end is in the interval before the first that does not.
    const double period_s = evidence.force_period_s();
    const double ago_s = 1.5 * period_s - std::min(kTailUnseen_s, 0.7 * period_s);
    const double own_s = std::hypot(kThrustEndSigma_s, period_s / std::sqrt(12.0));
    if (widest_s < evidence.lost_packet_s()) return {forces[i].t_ns - seconds_to_ns(ago_s), own_s};
    return {forces[i].t_ns - seconds_to_ns(0.5 * widest_s), std::hypot(own_s, widest_s / std::sqrt(12.0))};
}

/// Middle of the steepest part of the climb; `otherwise_ns` when there is none.
std::int64_t steepest_ns(const FlightEvidence& evidence, std::int64_t liftoff_ns, std::int64_t otherwise_ns) {
    const auto& heights = evidence.heights();
    const double apart_s = evidence.window_s(0.3, 0.9);
    std::int64_t near_ns = otherwise_ns;
    double steepest_mps = 0.0;
    for (std::size_t i = heights.since(liftoff_ns); i < heights.size(); ++i) {
        const std::size_t k = heights.since(heights[i].t_ns + seconds_to_ns(apart_s));
        if (k >= heights.size()) break;
        const double slope_mps =
            (heights[k].above_pad_m - heights[i].above_pad_m) / seconds_between(heights[i].t_ns, heights[k].t_ns);
        if (slope_mps <= steepest_mps) continue;
        steepest_mps = slope_mps;
        near_ns = heights[i].t_ns + (heights[k].t_ns - heights[i].t_ns) / 2;
    }
    return near_ns;
}

TimeEstimate climb_end(const FlightEvidence& evidence, std::int64_t liftoff_ns, std::int64_t coast_began_ns) {
    const auto& settings = evidence.settings();
    const auto& heights = evidence.heights();
    const std::int64_t now_ns = evidence.now_ns();
    std::vector<double> t_s;
    std::vector<double> height_m;
    for (std::size_t i = heights.since(liftoff_ns); i < heights.size(); ++i) {
        t_s.push_back(seconds_between(now_ns, heights[i].t_ns));
        height_m.push_back(heights[i].above_pad_m);
    }
    // It bends after the steepest part.
    const std::int64_t near_ns = steepest_ns(evidence, liftoff_ns, coast_began_ns);
    const auto bend = bend_of_climb(t_s, height_m, seconds_between(now_ns, near_ns));
    TimeEstimate when{near_ns, std::hypot(0.25, 0.6 * evidence.height_period_s())};
    if (bend) {
        // A bend in a gap follows from the speeds on both sides, less exactly.
        const std::size_t after = heights.since(now_ns + seconds_to_ns(bend->t_s));
        const bool between = after > 0 && after < heights.size();
        const double gap_s = between ? seconds_between(heights[after - 1].t_ns, heights[after].t_ns) : 0.0;
        when = {now_ns + seconds_to_ns(bend->t_s + settings.bend_to_burnout_s),
                std::hypot(settings.bend_to_burnout_sigma_s, std::min(bend->sigma_s, 1.0), 0.5 * gap_s)};
    }
    // With a fade in the climb the bend seen may be another one: take the middle of the two, and no smaller a sigma
    // than that.
    const auto fade = evidence.fade_between(liftoff_ns - seconds_to_ns(1.0), now_ns);
    if (!fade) return when;
    const double apart_s = seconds_between(fade->t_ns, when.t_ns);
    return {fade->t_ns + seconds_to_ns(0.5 * apart_s), std::hypot(when.sigma_s, fade->sigma_s, 0.5 * apart_s)};
}

} // namespace

MaybeFound BurnoutWatch::force(const Sight& sight) {
    return see(sight.evidence.forces().back(), sight);
}

MaybeFound BurnoutWatch::past_forces(const Sight& sight) {
    const auto& forces = sight.evidence.forces();
    for (std::size_t i = forces.since(sight.began_ns); i < forces.size(); ++i)
        if (auto found = see(forces[i], sight)) return found;
    return std::nullopt;
}

MaybeFound BurnoutWatch::see(const Force& force, const Sight& sight) {
    if (force.axial_mps2 >= sight.evidence.rest_force_mps2(kCoastForce_mps2)) {
        *this = BurnoutWatch();
        return std::nullopt;
    }
    if (coast_began_ns_ == 0) coast_began_ns_ = force.t_ns;
    const double lasts_s = std::max(kCoastLasts_s, 1.5 * sight.evidence.force_period_s());
    if (++coast_samples_ < 3 || seconds_between(coast_began_ns_, force.t_ns) < lasts_s) return std::nullopt;
    return Found{thrust_end(sight.evidence, coast_began_ns_, sight.began_ns)};
}

MaybeFound BurnoutWatch::height(const Sight& sight) {
    const FlightEvidence& evidence = sight.evidence;
    const auto& speeds = evidence.speeds();
    if (evidence.inertial_alive() || speeds.size() < 4) return std::nullopt;
    const std::size_t first = speeds.since(speeds.back().t_ns - seconds_to_ns(0.4));
    if (speeds.size() - first < 4 || seconds_between(sight.began_ns, evidence.now_ns()) < 0.5) return std::nullopt;
    // Braking throughout four tenths of a second; after that, single estimates among lost packets do not undo it.
    double sum = 0.0;
    bool brakes = true;
    for (std::size_t i = first; i < speeds.size(); ++i) {
        sum += speeds[i].accel_mps2;
        brakes = brakes && speeds[i].accel_mps2 < -5.0;
    }
    if (coast_began_ns_ == 0 && !brakes) return std::nullopt;
    if (sum > 5.0 * static_cast<double>(speeds.size() - first)) {
        coast_began_ns_ = 0;
        return std::nullopt;
    }
    // With this much of the coast the bend is well seen.
    if (coast_began_ns_ == 0) coast_began_ns_ = speeds[first].t_ns;
    if (seconds_between(coast_began_ns_, evidence.now_ns()) < evidence.window_s(kCoastSeen_s, 2.0)) return std::nullopt;
    return Found{climb_end(evidence, sight.began_ns, coast_began_ns_)};
}

} // namespace turnstone::estimate
