#include "server/estimate/phase_detector.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kShock_mps2 = 25.0;
constexpr double kShockSplit_s = 0.06;
constexpr double kAlive_s = 1.0;      ///< a sensor heard of within this is alive
constexpr double kRestRate_rad_s = 0.08; ///< mean magnitude: gyro bias and noise, no swinging
constexpr double kBarometerDead_s = 10.0; ///< silent for that long while inertial samples come: not a fade
constexpr double kImpactGroup_s = 2.0;
constexpr double kRestAfterImpact_s = 12.0;
constexpr double kUprightNeeded_s = 1.0;
constexpr double kDeployBeforeApogee_s = 2.0;
constexpr double kCanopySettle_s = 2.0; ///< after a deployment, before the next is looked for

} // namespace

PhaseDetector::PhaseDetector(const PhaseSettings& settings)
    : settings_(settings), forces_(2048), heights_(1024), speeds_(1024), rest_axial_mps2_(settings.gravity_mps2),
      shocks_(64) {}

void PhaseDetector::reset() { *this = PhaseDetector(settings_); }

std::optional<std::int64_t> PhaseDetector::time_of(Moment moment) const noexcept {
    for (const FoundMoment& found : moments_) {
        if (found.moment == moment) return found.t_ns;
    }
    return std::nullopt;
}

Motion PhaseDetector::motion() const noexcept {
    switch (phase_) {
    case Phase::on_pad:
    case Phase::landed: return Motion::rest;
    case Phase::powered_ascent: return Motion::boost;
    case Phase::coast: return Motion::coast;
    default: return Motion::descent;
    }
}

void PhaseDetector::enter(Phase phase, Moment moment, TimeEstimate when) {
    // A flight's moments are in order: back-dating never goes behind the moment before.
    std::int64_t t_ns = std::min(when.t_ns, t_now_ns_);
    if (!moments_.empty()) t_ns = std::max(t_ns, moments_.back().t_ns);
    phase_ = phase;
    phase_began_ns_ = t_ns;
    moments_.push_back({moment, t_ns, when.sigma_s, t_now_ns_});
    coast_began_ns_ = 0;
    coast_samples_ = 0;
    falling_ = 0;
    slowed_ = 0;
}

bool PhaseDetector::barometer_alive() const noexcept {
    return !heights_.empty() && seconds_between(heights_.back().t_ns, t_now_ns_) < kAlive_s;
}

bool PhaseDetector::inertial_alive() const noexcept {
    return !forces_.empty() && seconds_between(forces_.back().t_ns, t_now_ns_) < kAlive_s;
}

/// Magnitude (or axial force) steady over the window, and as large as gravity when all axes are there.
bool PhaseDetector::inertial_at_rest(double window_s, double spread_mps2) const {
    const std::size_t first = forces_.since(t_now_ns_ - seconds_to_ns(window_s));
    const std::size_t count = forces_.size() - first;
    if (count < 10 || seconds_between(forces_[first].t_ns, t_now_ns_) < 0.8 * window_s) return false;
    double sum = 0.0;
    double squares = 0.0;
    double rates = 0.0; // NaN without a gyro
    bool all_axes = true;
    for (std::size_t i = first; i < forces_.size(); ++i) {
        all_axes = all_axes && std::isfinite(forces_[i].magnitude_mps2);
        const double f = all_axes ? forces_[i].magnitude_mps2 : forces_[i].axial_mps2;
        sum += f;
        squares += f * f;
        rates += forces_[i].lateral_rate_rad_s;
    }
    const double n = static_cast<double>(count);
    const double mean = sum / n;
    if (rates / n > kRestRate_rad_s) return false;
    const double spread = std::sqrt(std::max(0.0, squares / n - mean * mean));
    if (spread > spread_mps2 + 2.0 * settings_.accel_noise_mps2) return false;
    return !all_axes || std::fabs(mean - settings_.gravity_mps2) < 1.2;
}

std::optional<double> PhaseDetector::mean_height(std::int64_t from_ns, std::int64_t to_ns) const {
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        sum += heights_[i].above_pad_m;
        ++count;
    }
    if (count == 0) return std::nullopt;
    return sum / count;
}

std::optional<PhaseDetector::Line> PhaseDetector::line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const {
    double n = 0, st = 0, sh = 0, stt = 0, sth = 0, shh = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        const double t = seconds_between(to_ns, heights_[i].t_ns);
        const double h = heights_[i].above_pad_m;
        n += 1, st += t, sh += h, stt += t * t, sth += t * h, shh += h * h;
    }
    if (n < 4) return std::nullopt;
    const double det = n * stt - st * st;
    if (det <= 1e-9) return std::nullopt;
    const double slope = (n * sth - st * sh) / det;
    const double value = (sh - slope * st) / n;
    const double residual = shh - value * sh - slope * sth;
    return Line{value, slope, std::sqrt(std::max(0.0, residual / n)), static_cast<int>(n)};
}

void PhaseDetector::imu(std::int64_t t_ns, double axial_mps2, double magnitude_mps2, double lateral_rate_rad_s) {
    if (!std::isfinite(axial_mps2)) return;
    if (!forces_.empty() && t_ns <= forces_.back().t_ns) return;
    const Force force{t_ns, axial_mps2, magnitude_mps2, lateral_rate_rad_s};
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    if (phase_ == Phase::on_pad) watch_pad(force);
    forces_.push(force);
    watch_shock(force);
    switch (phase_) {
    case Phase::on_pad: decide_lift_off_inertial(); break;
    case Phase::powered_ascent:
        watch_withdrawal();
        watch_burn_out(force);
        break;
    case Phase::coast: watch_withdrawal(); break;
    case Phase::descent: watch_deployment(); break;
    case Phase::drogue_descent:
        if (!barometer_alive()) watch_main();
        break;
    case Phase::main_descent:
    case Phase::landed: break;
    }
}

void PhaseDetector::height(std::int64_t t_ns, double above_pad_m, double sigma_m) {
    if (!std::isfinite(above_pad_m) || !(sigma_m > 0.0)) return;
    if (!heights_.empty() && t_ns <= heights_.back().t_ns) return;
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    heights_.push({t_ns, above_pad_m, sigma_m});
    switch (phase_) {
    case Phase::on_pad:
        decide_lift_off_inertial();
        if (phase_ == Phase::on_pad) decide_lift_off_heights();
        break;
    case Phase::powered_ascent:
        watch_burn_out_heights();
        watch_apogee_heights();
        break;
    case Phase::coast: watch_apogee_heights(); break;
    case Phase::descent: watch_deployment(); break;
    case Phase::drogue_descent: watch_main(); break;
    case Phase::main_descent:
    case Phase::landed: break;
    }
    watch_landing();
}

void PhaseDetector::vertical(const VerticalEstimate& estimate) {
    if (!estimate.valid || (!speeds_.empty() && estimate.t_ns <= speeds_.back().t_ns)) return;
    speeds_.push({estimate.t_ns, estimate.vertical_speed_mps, estimate.vertical_speed_sigma_mps,
                  estimate.acceleration_mps2});
    if (phase_ == Phase::coast || phase_ == Phase::powered_ascent) watch_apogee();
}

void PhaseDetector::pulse(std::int64_t t_ns) {
    if (phase_ == Phase::on_pad || phase_ == Phase::landed) return;
    if (!shocks_.empty() && t_ns <= shocks_.back().t_last_ns + seconds_to_ns(0.5)) return;
    shocks_.push({t_ns, t_ns});
    if (phase_ == Phase::descent) watch_deployment();
}

void PhaseDetector::tick(std::int64_t t_ns) {
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    if (!barometer_alive()) watch_landing();
}

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
    if (excess > 0.5 * kThrust_mps2) thrust_.t_above_ns = force.t_ns;
    else if (seconds_between(thrust_.t_above_ns, force.t_ns) > 0.05) thrust_.active = false;
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

void PhaseDetector::decide_lift_off_heights() {
    const HeightPoint& newest = heights_.back();
    if (newest.above_pad_m < 30.0) return;
    if (inertial_alive()) {
        // Something lifts it gently, or pressure changes around it: an inertial sensor feels gravity then, and in no flight.
        const std::size_t first = forces_.since(t_now_ns_ - seconds_to_ns(0.5));
        double sum = 0.0;
        for (std::size_t i = first; i < forces_.size(); ++i) {
            sum += std::isfinite(forces_[i].magnitude_mps2) ? forces_[i].magnitude_mps2 : forces_[i].axial_mps2;
        }
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
    for (std::size_t i = forces_.since(phase_began_ns_); i < forces_.size() && phase_ == Phase::powered_ascent; ++i) {
        watch_burn_out(forces_[i]);
    }
}

void PhaseDetector::watch_withdrawal() {
    if (moments_.empty() || seconds_between(phase_began_ns_, t_now_ns_) > kWithdraw_s) return;
    if (seconds_between(moments_.back().t_found_ns, t_now_ns_) < 1.5 || !barometer_alive()) return;
    if (!inertial_at_rest(1.0, 0.5)) return;
    const auto height_m = mean_height(t_now_ns_ - seconds_to_ns(0.5), t_now_ns_);
    if (!height_m || std::fabs(*height_m) > 8.0) return;
    enter(Phase::on_pad, Moment::withdrawn, {t_now_ns_, 0.5});
    moments_.clear();
    moments_.push_back({Moment::withdrawn, t_now_ns_, 0.5, t_now_ns_});
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
    for (std::size_t i = first; i < speeds_.size(); ++i) {
        if (speeds_[i].accel_mps2 > -5.0) return;
    }
    // Thrust fades before it ends: a first break over two seconds, then a second one close around it.
    TimeEstimate when{speeds_[first].t_ns, 0.4};
    double half_s = 2.0;
    for (const double next_half_s : {0.7, 0.45}) {
        std::vector<double> t_s;
        std::vector<double> height_m;
        const std::int64_t from_ns = std::max(phase_began_ns_, when.t_ns - seconds_to_ns(half_s));
        for (std::size_t i = heights_.since(from_ns);
             i < heights_.size() && heights_[i].t_ns < when.t_ns + seconds_to_ns(half_s); ++i) {
            t_s.push_back(seconds_between(t_now_ns_, heights_[i].t_ns));
            height_m.push_back(heights_[i].above_pad_m);
        }
        if (const auto found = break_between_parabolas(t_s, height_m, true)) {
            when = {t_now_ns_ + seconds_to_ns(found->t_s), std::clamp(found->sigma_s, 0.1, 0.5)};
        }
        half_s = next_half_s;
    }
    enter(Phase::coast, Moment::burn_out, when);
    highest_m_ = -1e9;
}

void PhaseDetector::watch_apogee() {
    const SpeedPoint& now = speeds_.back();
    // Speed carried through many gaps is uncertain by more than it will ever fall: then five metres a second have to do.
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
                            std::hypot(now.sigma_mps / settings_.gravity_mps2, std::max(0.02, gap_s / 4.0))};
    if (powered) {
        std::size_t fastest = 0;
        for (std::size_t k = 1; k < speeds_.size(); ++k) {
            if (speeds_[k].speed_mps > speeds_[fastest].speed_mps) fastest = k;
        }
        enter(Phase::coast, Moment::burn_out, {speeds_[fastest].t_ns, 0.5});
    }
    enter(Phase::descent, Moment::apogee, when);
    fastest_descent_mps_ = 0.0;
    watch_deployment();
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
    enter(Phase::descent, Moment::apogee, {highest_ns_, 0.5});
    fastest_descent_mps_ = 0.0;
    watch_deployment();
}

void PhaseDetector::watch_shock(const Force& force) {
    if (phase_ == Phase::on_pad || phase_ == Phase::powered_ascent || phase_ == Phase::landed) return;
    const double size = std::isfinite(force.magnitude_mps2) ? force.magnitude_mps2 : std::fabs(force.axial_mps2);
    if (size < kShock_mps2) return;
    // Drag right after burn-out is as strong as a shock, but it does not begin suddenly.
    const std::size_t earlier = forces_.since(force.t_ns - seconds_to_ns(0.1));
    const Force& old = forces_[std::min(earlier, forces_.size() - 1)];
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
    std::int64_t onset_ns = force.t_ns;
    for (std::size_t i = forces_.size(); i-- > earlier;) {
        const double s = std::isfinite(forces_[i].magnitude_mps2) ? forces_[i].magnitude_mps2
                                                                   : std::fabs(forces_[i].axial_mps2);
        if (std::fabs(s - old_size) < 4.0 + 3.0 * settings_.accel_noise_mps2) break;
        onset_ns = forces_[i].t_ns;
    }
    shocks_.push({onset_ns, force.t_ns});
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
        deploy(Moment::drogue_deployment, {shocks_[first].t_ns, 0.01});
        return;
    }
    // No shock, yet slower than falling freely for long: something is open. When it opened is not seen.
    const double since_s = seconds_between(*apogee, t_now_ns_);
    if (since_s < 4.0 || !barometer_alive()) return;
    const auto line = line_through_heights(t_now_ns_ - seconds_to_ns(1.5), t_now_ns_);
    const auto before = line_through_heights(t_now_ns_ - seconds_to_ns(3.5), t_now_ns_ - seconds_to_ns(1.5));
    if (!line || !before || line->points < 10 || before->points < 10) return;
    const bool steady = std::fabs(line->speed_mps - before->speed_mps) < 0.15 * std::fabs(line->speed_mps) + 0.5;
    if (!steady || line->speed_mps > -1.0 || line->speed_mps < -60.0) return;
    deploy(Moment::drogue_deployment, {*apogee + seconds_to_ns(1.0), 1.0});
}

void PhaseDetector::watch_main() {
    const double since_s = seconds_between(phase_began_ns_, t_now_ns_);
    if (since_s < kCanopySettle_s) return;
    if (!barometer_alive()) {
        // Without heights a second shock has to do.
        const std::size_t first = shocks_.since(phase_began_ns_ + seconds_to_ns(kCanopySettle_s));
        if (first < shocks_.size()) deploy(Moment::main_deployment, {shocks_[first].t_ns, 0.02});
        return;
    }
    const auto slow = line_through_heights(t_now_ns_ - seconds_to_ns(1.5), t_now_ns_);
    const auto quick = line_through_heights(t_now_ns_ - seconds_to_ns(0.7), t_now_ns_);
    if (!slow || !quick || slow->points < 6) return;
    if (slow->spread_m < 3.0 + 3.0 * heights_.back().sigma_m) {
        fastest_descent_mps_ = std::min(fastest_descent_mps_, slow->speed_mps);
    }
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
        const double silent_s = heights_.empty() ? 1e9 : seconds_between(heights_.back().t_ns, t_now_ns_);
        if (silent_s < kBarometerDead_s || !inertial_alive() || !inertial_at_rest(6.0, 0.2)) return;
        // Hanging calmly under a canopy feels the same; a vehicle on the ground has tipped over.
        if (std::fabs(forces_.back().axial_mps2) > 0.6 * settings_.gravity_mps2) return;
        // Nor does calm that comes long after the last shock: landing is a shock and then rest.
        if (shocks_.empty() || shocks_.back().t_ns <= phase_began_ns_) return;
        if (seconds_between(shocks_.back().t_last_ns, t_now_ns_) > kRestAfterImpact_s) return;
        // The impact is the first of the last group of shocks; tipping over follows it.
        std::int64_t t_ns = shocks_.back().t_ns;
        for (std::size_t i = shocks_.size(); i-- > 0 && shocks_[i].t_ns > phase_began_ns_;) {
            if (seconds_between(shocks_[i].t_ns, t_ns) > kImpactGroup_s) break;
            t_ns = shocks_[i].t_ns;
        }
        enter(Phase::landed, Moment::landing, {t_ns, 1.0});
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
