// From apogee to the ground: shocks, canopies, landing.
#include <algorithm>
#include <cmath>

#include "server/estimate/phases/phase_detector.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kShock_mps2 = 25.0;
constexpr double kShockSplit_s = 0.06;
constexpr double kHangsWithin_s = 15.0; ///< a body in a dive takes longer to feel its own weight in drag
constexpr double kDeployBeforeApogee_s = 2.0;
constexpr double kChargeBefore_s = 1.5; ///< a canopy's own shock follows its charge within this
constexpr double kCanopySettle_s = 2.0; ///< after a deployment, before the next is looked for

} // namespace

void PhaseDetector::watch_shock(const Force& force) {
    if (phase_ == Phase::powered_ascent || on_ground()) return;
    const double size = std::isfinite(force.magnitude_mps2) ? force.magnitude_mps2 : std::fabs(force.axial_mps2);
    if (size < kShock_mps2) return;
    // Drag right after burn-out is as strong as a shock, but it does not begin suddenly.
    if (forces_.size() < 2) return;
    const std::size_t earlier = std::min(forces_.since(force.t_ns - seconds_to_ns(0.1)), forces_.size() - 2);
    const Force& old = forces_[earlier];
    const double old_size = std::isfinite(old.magnitude_mps2) ? old.magnitude_mps2 : std::fabs(old.axial_mps2);
    const bool running = !shocks_.empty() && seconds_between(shocks_.back().t_last_ns, force.t_ns) < kShockSplit_s;
    if (running) {
        Shock last = shocks_.back();
        last.t_last_ns = force.t_ns;
        shocks_.replace_back(last);
        return;
    }
    if (phase_ == Phase::coast && size - old_size < 15.0) return;
    // Onset: back through the samples until the force is what it was before.
    std::size_t onset = forces_.size() - 1;
    for (std::size_t i = forces_.size(); i-- > earlier;) {
        const double s =
            std::isfinite(forces_[i].magnitude_mps2) ? forces_[i].magnitude_mps2 : std::fabs(forces_[i].axial_mps2);
        if (std::fabs(s - old_size) < 4.0 + 3.0 * settings_.accel_noise_mps2) break;
        onset = i;
    }
    const double spacing_s = onset > 0 ? seconds_between(forces_[onset - 1].t_ns, forces_[onset].t_ns) : 0.0;
    shocks_.push({forces_[onset].t_ns - seconds_to_ns(0.5 * spacing_s), force.t_ns,
                  std::max(0.003, spacing_s / std::sqrt(12.0))});
}

void PhaseDetector::deploy(Moment moment, TimeEstimate when) {
    if (settings_.parachutes == 1) moment = Moment::main_deployment;
    enter(moment == Moment::main_deployment ? Phase::main_descent : Phase::drogue_descent, moment, when);
    fastest_descent_mps_ = 0.0;
}

void PhaseDetector::watch_deployment() {
    const auto apogee = time_of(Moment::apogee);
    if (!apogee) return;
    const std::size_t first = shocks_.since(*apogee - seconds_to_ns(kDeployBeforeApogee_s));
    if (first < shocks_.size()) {
        deploy(Moment::drogue_deployment, charge(shocks_[first], *apogee - seconds_to_ns(kDeployBeforeApogee_s)));
        return;
    }
    // No shock, yet slower than falling freely for long: something is open. When it opened is not seen.
    const double since_s = seconds_between(*apogee, t_now_ns_);
    if (since_s < 4.0) return;
    const TimeEstimate unseen = fade_between(*apogee - seconds_to_ns(kDeployBeforeApogee_s), t_now_ns_)
                                    .value_or(TimeEstimate{*apogee + seconds_to_ns(1.0), 1.0});
    if (!barometer_alive()) {
        if (barometer_gone() && since_s < kHangsWithin_s && hangs()) deploy(Moment::drogue_deployment, unseen);
        return;
    }
    const auto line = line_through_heights(t_now_ns_ - seconds_to_ns(1.5), t_now_ns_);
    const auto before = line_through_heights(t_now_ns_ - seconds_to_ns(3.5), t_now_ns_ - seconds_to_ns(1.5));
    if (!line || !before || line->points < 10 || before->points < 10) return;
    const bool steady = std::fabs(line->speed_mps - before->speed_mps) < 0.15 * std::fabs(line->speed_mps) + 0.5;
    if (!steady || line->speed_mps > -1.0 || line->speed_mps < -60.0) return;
    deploy(Moment::drogue_deployment, unseen);
}

void PhaseDetector::watch_main() {
    const double since_s = seconds_between(phase_began_ns_, t_now_ns_);
    if (since_s < kCanopySettle_s) return;
    if (!barometer_alive()) {
        // Without heights a second shock has to do.
        const std::size_t first = shocks_.since(phase_began_ns_ + seconds_to_ns(kCanopySettle_s));
        if (first < shocks_.size())
            deploy(Moment::main_deployment,
                   charge(shocks_[first], shocks_[first].t_ns - seconds_to_ns(kChargeBefore_s)));
        return;
    }
    const auto slow = line_through_heights(t_now_ns_ - seconds_to_ns(1.5), t_now_ns_);
    const auto quick = line_through_heights(t_now_ns_ - seconds_to_ns(0.7), t_now_ns_);
    if (!slow || !quick || slow->points < 6) return;
    if (slow->spread_m < 3.0 + 3.0 * heights_.back().sigma_m)
        fastest_descent_mps_ = std::min(fastest_descent_mps_, slow->speed_mps);
    // A drogue that opens in a dive slows down too: forget the dive at a rate no main parachute is mistaken for.
    fastest_descent_mps_ += 0.004 * (slow->speed_mps - fastest_descent_mps_);
    if (fastest_descent_mps_ > -7.0) return;
    slowed_ = quick->speed_mps > 0.55 * fastest_descent_mps_ ? slowed_ + 1 : 0;
    if (slowed_ < 12) return;
    deploy(Moment::main_deployment, main_onset());
}

void PhaseDetector::watch_landing() {
    const bool descending =
        phase_ == Phase::descent || phase_ == Phase::drogue_descent || phase_ == Phase::main_descent;
    if (!descending) return;
    const auto apogee = time_of(Moment::apogee);
    if (!apogee || seconds_between(*apogee, t_now_ns_) < 4.0) return;
    if (!barometer_alive()) {
        if (!barometer_gone() || !inertial_alive() || !inertial_at_rest(6.0, 0.2)) return;
        // Hanging calmly under a canopy feels the same; a vehicle on the ground has tipped over.
        if (std::fabs(forces_.back().axial_mps2) > 0.6 * settings_.gravity_mps2) return;
        // Nor does calm that comes long after the last shock: landing is a shock and then rest.
        if (const auto impact = impact_before_rest()) enter(Phase::landed, Moment::landing, *impact);
        return;
    }
    const bool inertial = inertial_alive();
    const double window_s = inertial ? 2.0 : 4.0;
    if (inertial && !inertial_at_rest(1.5, 0.6)) return;
    const std::int64_t from_ns = t_now_ns_ - seconds_to_ns(window_s);
    const auto line = line_through_heights(from_ns, t_now_ns_);
    const auto first = mean_height(from_ns, from_ns + seconds_to_ns(window_s / 3));
    const auto middle = mean_height(from_ns + seconds_to_ns(window_s / 3), t_now_ns_ - seconds_to_ns(window_s / 3));
    const auto last = mean_height(t_now_ns_ - seconds_to_ns(window_s / 3), t_now_ns_);
    if (!line || line->points < 12 || !first || !middle || !last) return;
    const double sigma_m = heights_.back().sigma_m;
    if (std::fabs(line->speed_mps) > 0.8 || line->spread_m > 1.0 + 3.0 * sigma_m) return;
    const double limit_m = 1.0 + 2.0 * sigma_m;
    if (std::fabs(*first - *middle) > limit_m || std::fabs(*middle - *last) > limit_m) return;
    enter(Phase::landed, Moment::landing, touch_down(*last));
}

} // namespace turnstone
