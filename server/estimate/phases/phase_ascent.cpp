// From the pad to apogee: what is taken for a lift-off, a burn-out, an apogee, and what is not.
#include <algorithm>
#include <cmath>
#include <limits>

#include "server/estimate/phases/phase_detector.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kUprightNeeded_s = 1.0;
/// Of the zero of vertical speed, beside the speed's own: the axis leans over most there, and lags what it stands for.
constexpr double kApogeeSigma_s = 0.04;
/// Weightless for longer than anything thrown by hand: it flies.
constexpr double kWeightless_s = 1.8;
constexpr double kWeightlessShare = 0.5;
constexpr double kLaunchInFade_s = 0.3;
constexpr double kFadeBeforeFlight_s = 8.0;
constexpr double kHangsAfterCoast_s = 3.0;
constexpr double kCoastSeen_s = 1.0; ///< by heights alone

} // namespace

void PhaseDetector::watch_pad(const Force& force) {
    const double gravity = settings_.gravity_mps2;
    const double dt_s = forces_.empty() ? 0.0 : seconds_between(forces_.back().t_ns, force.t_ns);
    const double step_s = std::min(dt_s, 0.1);
    const double size = std::isfinite(force.magnitude_mps2) ? force.magnitude_mps2 : std::fabs(force.axial_mps2);
    const double excess = force.axial_mps2 - rest_axial_mps2_;
    if (!thrust_.active && std::fabs(size - gravity) < 1.5) {
        if (force.axial_mps2 > 0.75 * gravity) {
            upright_s_ = std::min(upright_s_ + step_s, 10.0);
            leaning_s_ = 0.0;
            rest_axial_mps2_ += step_s / 2.0 * std::clamp(excess, -1.0, 1.0);
        } else {
            leaning_s_ += step_s;
            if (leaning_s_ > 1.0) upright_s_ = 0.0;
        }
    }
    if (!thrust_.active) {
        if (excess <= kThrust_mps2) return;
        thrust_ = Thrust{};
        thrust_.active = true;
        thrust_.t_before_ns = forces_.empty() ? force.t_ns : forces_.back().t_ns;
        thrust_.t_first_ns = thrust_.t_last_ns = thrust_.t_above_ns = force.t_ns;
        thrust_.samples = 1;
        const auto ground = mean_height(force.t_ns - seconds_to_ns(3.0), force.t_ns);
        thrust_.start_height_m = ground.value_or(std::numeric_limits<double>::quiet_NaN());
        return;
    }
    // A gap inside the run counts as far as two lost packets; the rest of it is unknown.
    const double before = forces_.back().axial_mps2 - rest_axial_mps2_;
    const double counted_s = std::min(dt_s, 0.3);
    thrust_.travelled_m += thrust_.gained_mps * counted_s;
    thrust_.gained_mps += 0.5 * (before + excess) * counted_s;
    thrust_.t_last_ns = force.t_ns;
    ++thrust_.samples;
    if (std::isfinite(force.lateral_rate_rad_s)) thrust_.rate_sum += force.lateral_rate_rad_s;
    if (excess > 0.5 * kThrust_mps2)
        thrust_.t_above_ns = force.t_ns;
    else if (seconds_between(thrust_.t_above_ns, force.t_ns) > 0.05)
        thrust_.active = false;
}

void PhaseDetector::decide_lift_off_inertial() {
    if (!thrust_.active || thrust_.samples < 8 || upright_s_ < kUprightNeeded_s) return;
    if (seconds_between(thrust_.t_first_ns, thrust_.t_last_ns) < kThrustTime_s) return;
    if (thrust_.gained_mps < kThrustSpeed_mps) return;
    if (thrust_.rate_sum / thrust_.samples > kLateralRate_rad_s) return;
    const Force& now = forces_.back();
    if (std::isfinite(now.magnitude_mps2) && now.axial_mps2 < 0.7 * now.magnitude_mps2) return;
    if (barometer_alive() && std::isfinite(thrust_.start_height_m)) {
        const std::int64_t newest_ns = heights_.back().t_ns;
        const auto risen = mean_height(newest_ns - seconds_to_ns(0.1), newest_ns);
        const double rise_m = risen.value_or(0.0) - thrust_.start_height_m;
        const double needed_m = std::max({kThrustRise_m, 5.0 * heights_.back().sigma_m, 0.25 * thrust_.travelled_m});
        // No arm gives that much: then it is the barometer that does not move.
        const bool beyond_arms = thrust_.gained_mps > 40.0 && thrust_.travelled_m > 40.0;
        if (rise_m < needed_m && !beyond_arms) return;
    } else if (thrust_.gained_mps < kThrustSpeedAlone_mps) {
        return;
    }
    const TimeEstimate onset = thrust_onset();
    thrust_.active = false;
    enter(Phase::powered_ascent, Moment::lift_off, onset);
}

/// Lift-off and thrust in a fade, by forces alone: upright rest before it, and soon after it no weight for long.
void PhaseDetector::decide_lift_off_unseen() {
    const Force& now = forces_.back();
    const double limit_mps2 = kWeightlessShare * settings_.gravity_mps2;
    if (!(now.magnitude_mps2 < limit_mps2)) {
        weightless_since_ns_ = 0;
        return;
    }
    if (weightless_since_ns_ == 0) weightless_since_ns_ = now.t_ns;
    if (seconds_between(weightless_since_ns_, now.t_ns) < kWeightless_s || upright_s_ < kUprightNeeded_s ||
        barometer_alive())
        return;
    const auto fade = fade_between(now.t_ns - seconds_to_ns(kFadeBeforeFlight_s), weightless_since_ns_ + 1);
    if (!fade || fade->sigma_s < kLaunchInFade_s / std::sqrt(12.0)) return;
    thrust_.active = false;
    enter(Phase::powered_ascent, Moment::lift_off, *fade);
    enter(Phase::coast, Moment::burn_out, {fade->t_ns, 2.0 * fade->sigma_s});
    highest_m_ = -1e9;
}

void PhaseDetector::decide_lift_off_heights() {
    const HeightPoint& newest = heights_.back();
    if (newest.above_pad_m < 30.0) return;
    if (inertial_alive()) {
        // Something lifts it gently, or pressure changes around it: an inertial sensor feels gravity then, and in no
        // flight.
        const std::size_t first = forces_.since(t_now_ns_ - seconds_to_ns(0.5));
        double sum = 0.0;
        for (std::size_t i = first; i < forces_.size(); ++i)
            sum += std::isfinite(forces_[i].magnitude_mps2) ? forces_[i].magnitude_mps2 : forces_[i].axial_mps2;
        const double n = static_cast<double>(forces_.size() - first);
        if (n > 0.0 && std::fabs(sum / n - settings_.gravity_mps2) < 0.25 * settings_.gravity_mps2) return;
    }
    const std::int64_t from_ns = newest.t_ns - seconds_to_ns(1.2);
    const std::size_t first = heights_.since(from_ns);
    const std::size_t count = heights_.size() - first;
    if (count < 8 || seconds_between(heights_[first].t_ns, newest.t_ns) < 0.6) return;
    double before = -1e9;
    for (std::size_t quarter = 0; quarter < 4; ++quarter) {
        double sum = 0.0;
        const std::size_t begin = first + quarter * count / 4;
        const std::size_t end = first + (quarter + 1) * count / 4;
        for (std::size_t i = begin; i < end; ++i) sum += heights_[i].above_pad_m;
        const double mean = sum / static_cast<double>(end - begin);
        // Ten metres a second over a quarter of the window's true length, less noise.
        const double span_s = seconds_between(heights_[first].t_ns, newest.t_ns);
        if (quarter > 0 && mean - before < 0.25 * 10.0 * span_s * (quarter == 1 ? 0.2 : 1.0)) return;
        before = mean;
    }
    enter(Phase::powered_ascent, Moment::lift_off, climb_onset());
    thrust_.active = false;
    // Thrust may have ended before the climb was believed.
    for (std::size_t i = forces_.since(phase_began_ns_); i < forces_.size() && phase_ == Phase::powered_ascent; ++i)
        watch_burn_out(forces_[i]);
}

void PhaseDetector::watch_withdrawal() {
    if (moments_.empty() || seconds_between(phase_began_ns_, t_now_ns_) > kWithdraw_s) return;
    if (seconds_between(moments_.back().t_found_ns, t_now_ns_) < 1.5 || !barometer_alive()) return;
    if (!inertial_at_rest(1.0, 0.5)) return;
    const auto height_m = mean_height(t_now_ns_ - seconds_to_ns(0.5), t_now_ns_);
    if (!height_m || std::fabs(*height_m) > 8.0) return;
    moments_.clear();
    enter(Phase::on_pad, Moment::withdrawn, {t_now_ns_, 0.5});
}

void PhaseDetector::watch_burn_out(const Force& force) {
    if (force.axial_mps2 >= kCoastForce_mps2) {
        coast_began_ns_ = 0;
        coast_samples_ = 0;
        return;
    }
    if (coast_began_ns_ == 0) coast_began_ns_ = force.t_ns;
    if (++coast_samples_ < 6 || seconds_between(coast_began_ns_, force.t_ns) < 0.15) return;
    enter(Phase::coast, Moment::burn_out, thrust_end(coast_began_ns_));
    highest_m_ = -1e9;
}

void PhaseDetector::watch_burn_out_heights() {
    if (inertial_alive() || speeds_.size() < 4) return;
    const std::size_t first = speeds_.since(speeds_.back().t_ns - seconds_to_ns(0.4));
    if (speeds_.size() - first < 4 || seconds_between(phase_began_ns_, t_now_ns_) < 0.5) return;
    // All of four tenths of a second brake; once that is seen, single estimates among lost packets do not undo it.
    double sum = 0.0;
    bool brakes = true;
    for (std::size_t i = first; i < speeds_.size(); ++i) {
        sum += speeds_[i].accel_mps2;
        brakes = brakes && speeds_[i].accel_mps2 < -5.0;
    }
    if (coast_began_ns_ == 0 && !brakes) return;
    if (sum > 5.0 * static_cast<double>(speeds_.size() - first)) {
        coast_began_ns_ = 0;
        return;
    }
    // The bend is well seen once there is as much of the coast as that.
    if (coast_began_ns_ == 0) coast_began_ns_ = speeds_[first].t_ns;
    if (seconds_between(coast_began_ns_, t_now_ns_) < kCoastSeen_s) return;
    enter(Phase::coast, Moment::burn_out, climb_end());
    highest_m_ = -1e9;
}

void PhaseDetector::watch_apogee() {
    const SpeedPoint& now = speeds_.back();
    // Speed carried through many gaps is uncertain by more than it will ever fall: then five metres a second have to
    // do.
    falling_ = now.speed_mps < -std::max(0.8, std::min(0.7 * now.sigma_mps, 5.0)) ? falling_ + 1 : 0;
    const bool powered = phase_ == Phase::powered_ascent;
    if (falling_ < 3 || (powered && now.speed_mps > -5.0)) return;
    if (seconds_between(phase_began_ns_, now.t_ns) < 0.3) return;
    // Last change of sign; in near free fall speed is linear in time.
    std::size_t i = speeds_.size() - 1;
    while (i > 0 && speeds_[i].speed_mps < 0.0) --i;
    const SpeedPoint& above = speeds_[i];
    const SpeedPoint& below = speeds_[std::min(i + 1, speeds_.size() - 1)];
    const double share = above.speed_mps > 0.0 ? above.speed_mps / (above.speed_mps - below.speed_mps) : 0.0;
    const double gap_s = seconds_between(above.t_ns, below.t_ns);
    const TimeEstimate when{above.t_ns + seconds_to_ns(share * gap_s),
                            std::hypot(now.sigma_mps / settings_.gravity_mps2, std::max(kApogeeSigma_s, gap_s / 4.0))};
    if (powered) {
        std::size_t fastest = 0;
        for (std::size_t k = 1; k < speeds_.size(); ++k)
            if (speeds_[k].speed_mps > speeds_[fastest].speed_mps) fastest = k;
        enter(Phase::coast, Moment::burn_out, {speeds_[fastest].t_ns, 1.0});
    }
    begin_descent(when);
}

/// By forces alone, when the speed is not known well enough: what hangs on a canopy has passed apogee.
void PhaseDetector::watch_apogee_by_weight() {
    if (!barometer_gone() || seconds_between(phase_began_ns_, t_now_ns_) < kHangsAfterCoast_s) return;
    if (speeds_.empty() || speeds_.back().sigma_mps < 10.0 || !hangs()) return;
    const std::size_t first = shocks_.since(phase_began_ns_ + seconds_to_ns(1.0));
    const std::int64_t opened_ns =
        first < shocks_.size() ? shocks_[first].t_ns : t_now_ns_ - seconds_to_ns(kHangsAfterCoast_s);
    begin_descent({opened_ns - seconds_to_ns(1.0), 1.0});
}

void PhaseDetector::watch_apogee_heights() {
    const HeightPoint& newest = heights_.back();
    const auto mean = mean_height(newest.t_ns - seconds_to_ns(0.1), newest.t_ns);
    if (!mean) return;
    if (*mean > highest_m_) {
        highest_m_ = *mean;
        highest_ns_ = newest.t_ns;
    }
    below_highest_ = *mean < highest_m_ - std::max(25.0, 8.0 * newest.sigma_m) ? below_highest_ + 1 : 0;
    if (below_highest_ < 15 || seconds_between(highest_ns_, newest.t_ns) < 1.5) return;
    below_highest_ = 0;
    if (phase_ == Phase::powered_ascent) enter(Phase::coast, Moment::burn_out, {phase_began_ns_, 2.0});
    begin_descent({highest_ns_, 0.5});
}

void PhaseDetector::begin_descent(TimeEstimate apogee) {
    enter(Phase::descent, Moment::apogee, apogee);
    fastest_descent_mps_ = 0.0;
    ceiling_m_ = highest_m_;
    for (std::size_t i = 0; i < speeds_.size(); ++i)
        ceiling_m_ = std::max(ceiling_m_, speeds_[i].height_m + 2.0 * speeds_[i].height_sigma_m);
    watch_deployment();
}

} // namespace turnstone
