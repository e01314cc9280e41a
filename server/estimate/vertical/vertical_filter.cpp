#include "server/estimate/vertical/vertical_filter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using namespace vertical_states;

namespace {

constexpr double kRestAtFirst = 0.99;
/// Carried, driven, flown by a balloon or a propeller.
constexpr SingerProcess kMoving{0.0, 5.0, 1.0};
constexpr double kRestSpeedAtFirst_mps = 0.2;
/// Heights left out at rest, in a row, that show a vehicle which has left.
constexpr std::size_t kHeightsOfLeaving = 3;
constexpr double kUnrestSpeed_mps = 50.0;
/// In descent, without heights for this long, a parachute may have opened.
constexpr double kDescentGap_s = 0.25;
constexpr double kDescentGapSigma_mps2 = 12.0;
/// Swinging under a parachute changes the vertical speed although the size of the force does not show it.
constexpr double kSwings_mps2 = 0.22;
constexpr double kVerticalPart = 0.85;  ///< of how far the force is from gravity; it swings to all sides
constexpr double kSpeedKept_s = 0.2;    ///< heights as close as this share what the speed is off by
constexpr double kTooMuch = 3.0;        ///< of the size of the force, for an acceleration to be believed
constexpr double kRailLean_mps2 = 0.08; ///< 1 - cos(7 degrees), times gravity
/// Two packets of four samples at 200 Hz may be lost before the accelerometer counts as absent.
constexpr double kInertialTimeout_s = 0.1;
constexpr double kJitter = 1.5; ///< of a sample period
/// Of how late samples come: a packet of many that came late once is soon forgotten, and the longest that is waited
/// for.
constexpr double kLateKept = 0.98;
constexpr double kLateMost_s = 2.0;
constexpr double kJudgedLeast_s = 0.2;
constexpr double kHides_s = 0.5, kHidesPeriods = 2.5; ///< a gap of the accelerometer in which a launch gets far
constexpr double kStepKept_s = 0.05;                  ///< for the backward pass, without a correction
constexpr double kHeightsAgree_s = 3.0;
/// Over which the day's air at one height says nothing of another. The error of a height is an integral over the air
/// below it, so it changes far more smoothly than the air itself: a shorter length would be roughness in every speed.
constexpr double kDayLength_m = 30000.0;

} // namespace

VerticalFilter::VerticalFilter(const VerticalSettings& settings) : settings_(settings) {
    results_.reserve(64);
    reset();
}

void VerticalFilter::reset() {
    fraction_ = AxisFraction{};
    VerticalKalman fresh;
    forget(fresh, kB, 0.0, settings_.accel_bias_mps2);
    forget(fresh, kS, fraction_.mean, fraction_.sigma);
    forget(fresh, kC, 0.0, settings_.port_sigma);
    forget(fresh, kD, settings_.delay_s, settings_.delay_sigma_s);
    forget(fresh, kK, 0.0, 1.0);
    forget(fresh, kG, 0.0, 0.0);
    forget(fresh, kO, 0.0, settings_.pad_datum_sigma_m);
    forget(fresh, kE, 0.0, settings_.fix_delay_sigma_s);
    pair_.model = {fresh, fresh};
    pair_.probability = {0.0, 1.0};
    t_ns_ = t_accel_ns_ = t_height_ns_ = t_height_used_ns_ = t_mixed_ns_ = 0;
    t_fix_ns_ = t_fixes_since_ns_ = t_fix_agreed_ns_ = t_by_fix_ns_ = 0;
    accel_period_s_ = height_period_s_ = accel_late_s_ = 0.0;
    t_heard_of_ns_ = 0;
    agitation_mps2_ = kGravityStandard_mps2;
    day_at_m_ = 0.0;
    started_ = have_accel_ = false;
    gap_since_sample_ = true;
    motion_ = Motion::rest;
    rest_window_ = {};
    travelled_.clear();
    fixes_far_ = 0;
    waiting_count_ = rejected_count_ = 0;
    pulse_m_ = 0.0;
    waiting_fixes_.clear();
    stuck_ = false;
    t_judged_ns_ = 0;
    bias_walk_mps2_rts_ = 0.0;
    monitor_.clear();
    results_.clear();
    ahead_.reset();
    if (forward_ != nullptr) forward_->cut();
}

void VerticalFilter::start(std::int64_t t_ns, double altitude_m, double altitude_sigma_m, double speed_mps,
                           double speed_sigma_mps) {
    VerticalKalman& state = flight();
    if (two_models() && started_) state = stated();
    forget(state, kH, altitude_m, altitude_sigma_m, carried());
    forget(state, kV, speed_mps, speed_sigma_mps, carried());
    forget(state, kA, 0.0, singer().sigma_mps2, carried());
    t_ns_ = t_mixed_ns_ = t_ns;
    ahead_.reset();
    started_ = true;
    gap_since_sample_ = false; // acceleration is unknown: the first sample sets it
    rejected_count_ = 0;
    fixes_far_ = 0;
    day_at_m_ = altitude_m;
    travelled_.clear();
    travelled_.push({t_ns, 0.0, 0.0, 0.0});
    rest_window_ = {};
    pair_.probability = {0.0, 1.0};
    if (!two_models()) return;
    pair_.model[kRest] = state;
    forget(pair_.model[kRest], kV, 0.0, kRestSpeedAtFirst_mps);
    const bool slow = std::fabs(speed_mps) < 3.0 * speed_sigma_mps;
    pair_.probability[kRest] = slow ? kRestAtFirst : 1.0 - kRestAtFirst;
    pair_.probability[kFlight] = 1.0 - pair_.probability[kRest];
}

void VerticalFilter::start_on_rail(std::int64_t t_ns, double altitude_sigma_m) {
    for (VerticalKalman& state : pair_.model) {
        forget(state, kK, 0.0, 1.0);
        forget(state, kO, 0.0, settings_.pad_datum_sigma_m);
    }
    start(t_ns, 0.0, altitude_sigma_m, 0.0, 0.1);
}

/// Of a vehicle that leaves rest, by anything between a hand and its motor, all alike: a / sqrt(3). The same where
/// thrust may begin or end unseen.
SingerProcess VerticalFilter::leaving() const noexcept {
    return {0.0, settings_.launch_mps2 / std::numbers::sqrt3, 1.0};
}

SingerProcess VerticalFilter::singer() const noexcept {
    // Means, sizes and correlation times of accelerations of small rockets: motor thrust, drag after burnout,
    // parachute.
    switch (motion_) {
    case Motion::rest:
    case Motion::boost: return leaving();
    case Motion::coast: return {-kGravityStandard_mps2, 8.0, 3.0};
    case Motion::descent: return {0.0, agitation_mps2_, 0.7};
    case Motion::moving: return kMoving;
    }
    return {0.0, kGravityStandard_mps2, 1.0};
}

double VerticalFilter::wait_s() const noexcept {
    return std::max(kHeightWait_s, kJitter * accel_period_s_ + (in_batches() ? accel_late_s_ : 0.0));
}

bool VerticalFilter::samples_follow(std::int64_t t_ns) const noexcept {
    return have_accel_ && motion_ != Motion::descent &&
           seconds_between(t_accel_ns_, t_ns) < std::max(kInertialTimeout_s, 2.5 * accel_period_s_);
}

bool VerticalFilter::inertial_at(std::int64_t t_ns) const noexcept {
    return samples_follow(t_ns) ||
           (have_accel_ && motion_ != Motion::descent && in_batches() && seconds_between(t_accel_ns_, t_ns) < wait_s());
}

void VerticalFilter::set_motion(Motion motion) {
    if (motion == motion_) return;
    ahead_.reset();
    const Motion before = motion_;
    const bool inertial = inertial_at(t_ns_);
    if (forward_ != nullptr && (before == Motion::rest || motion == Motion::rest)) forward_->cut();
    if (before == Motion::rest && started_) {
        const bool seen = pair_.probability[kFlight] > 0.5;
        if (two_models() && !seen) flight() = stated();
        pair_.probability = {0.0, 1.0};
        // At rest the bias includes the lean of the rail, which acts on the axis the other way in flight.
        walk(flight(), kB, kRailLean_mps2 * kRailLean_mps2);
        if (motion == Motion::boost && !inertial && !seen) {
            // The heights left out at rest held the climb: let the next ones decide where the vehicle is.
            walk(flight(), kH, 400.0);
            walk(flight(), kV, 2500.0);
            walk(flight(), kA, 3600.0);
            rejected_count_ = 0;
        }
    }
    motion_ = motion;
    if (motion == Motion::rest && started_) {
        // It may rest in another pose, in which another bias acts upwards, and a single axis misses all of gravity.
        forget(flight(), kB, 0.0, kGravityStandard_mps2, carried());
        const VerticalKalman state = flight();
        start(t_ns_, state.x(kH), std::sqrt(state.covariance(kH, kH)), 0.0, kRestSpeedAtFirst_mps);
    } else if (motion == Motion::descent) {
        const double sigma = singer().sigma_mps2;
        walk(flight(), kA, sigma * sigma);
        gap_since_sample_ = true;
    }
}

void VerticalFilter::set_descent_agitation(double sigma_mps2) {
    if (!std::isfinite(sigma_mps2)) return;
    agitation_mps2_ = std::min(std::hypot(kSwings_mps2, kVerticalPart * sigma_mps2), 60.0);
    // A parachute's or the ground's shock ends at once: what it did to the speed stays, its acceleration does not.
    if (!started_ || motion_ != Motion::descent || !(std::fabs(flight().x(kA)) > kTooMuch * agitation_mps2_)) return;
    ahead_.reset();
    forget(flight(), kA, 0.0, agitation_mps2_, carried());
}

void VerticalFilter::jolt(double speed_mps) {
    if (!started_ || motion_ != Motion::descent || !(speed_mps > 0.0)) return;
    ahead_.reset();
    walk(flight(), kV, speed_mps * speed_mps);
    Travelled now = travelled_.back();
    now.jolts_m2ps2 += speed_mps * speed_mps;
    travelled_.replace_back(now);
}

/// Takes waiting heights in, each once `reach` has brought the state to its time.
void VerticalFilter::take_waiting(std::int64_t up_to_t_ns, const auto& reach) {
    std::size_t taken = 0;
    while (taken < waiting_count_ && waiting_[taken].t_ns <= up_to_t_ns) {
        reach(waiting_[taken].t_ns);
        apply_height(waiting_[taken++]);
    }
    if (taken == 0) return;
    std::copy(waiting_.begin() + static_cast<std::ptrdiff_t>(taken),
              waiting_.begin() + static_cast<std::ptrdiff_t>(waiting_count_), waiting_.begin());
    waiting_count_ -= taken;
}

void VerticalFilter::each_model(const auto& step) {
    step(flight());
    if (two_models()) step(pair_.model[kRest]);
}

void VerticalFilter::walk_errors(double dt_s) {
    const auto squared = [](double value) { return value * value; };
    each_model([&](VerticalKalman& state) {
        walk(state, kB, squared(settings_.accel_bias_walk_mps2_rts) * dt_s);
        if (motion_ == Motion::rest) return;
        walk(state, kB, squared(bias_walk_mps2_rts_) * dt_s);
        walk(state, kS, squared(fraction_.walk_rts) * dt_s);
        walk(state, kC, squared(settings_.port_walk_rts) * dt_s);
    });
}

void VerticalFilter::travel(std::int64_t t_ns, double before_h, double before_v) {
    const Travelled& last = travelled_.back();
    const Travelled now{t_ns, last.height_m + flight().x(kH) - before_h, last.speed_mps + flight().x(kV) - before_v,
                        last.jolts_m2ps2};
    constexpr double kSpacing_s = 0.004;
    const std::size_t n = travelled_.size();
    if (n > 1 && seconds_between(travelled_[n - 2].t_ns, t_ns) < kSpacing_s)
        travelled_.replace_back(now);
    else
        travelled_.push(now);
}

/// Along the newest sample.
void VerticalFilter::propagate_by_sample(std::int64_t t_ns) {
    const double dt_s = seconds_between(t_ns_, t_ns);
    if (dt_s <= 0.0) return;
    t_ns_ = t_ns;
    const double h = flight().x(kH), v = flight().x(kV);
    propagate_held(flight(), dt_s, carried());
    if (two_models()) propagate_rest(pair_.model[kRest], dt_s, leaving().sigma_mps2);
    walk_errors(dt_s);
    travel(t_ns, h, v);
    if (forward_ != nullptr && !two_models() && !(seconds_between(t_step_kept_ns_, t_ns) < kStepKept_s))
        keep_step(flight());
}

/// After a correction, or without one where the course is to be shown.
void VerticalFilter::keep_step(const VerticalKalman& predicted) {
    forward_->keep(t_ns_, predicted, flight());
    t_step_kept_ns_ = t_ns_;
}

void VerticalFilter::predict(double left_s, const SingerProcess& process) {
    while (left_s > 0.0) {
        const double step_s = std::min(left_s, 0.25);
        propagate_singer(flight(), step_s, process, carried());
        if (two_models()) propagate_rest(pair_.model[kRest], step_s, leaving().sigma_mps2);
        walk_errors(step_s);
        left_s -= step_s;
    }
}

void VerticalFilter::pass_gap(std::int64_t t_ns, const SingerProcess& process) {
    const double left_s = seconds_between(t_ns_, t_ns);
    if (left_s <= 1e-9) return;
    t_ns_ = t_ns;
    // Thrust begins at once: what the last sample said of acceleration holds for none of the gap behind it.
    if (two_models() && !gap_since_sample_) walk(flight(), kA, process.sigma_mps2 * process.sigma_mps2);
    gap_since_sample_ = true;
    const double h = flight().x(kH), v = flight().x(kV);
    predict(left_s, process);
    travel(t_ns, h, v);
}

/// What may happen where nothing is measured, up to `t_ns`.
SingerProcess VerticalFilter::unmeasured(std::int64_t t_ns) const noexcept {
    SingerProcess process = singer();
    // Unless thrust has ended already.
    if (have_accel_ && (motion_ == Motion::rest || motion_ == Motion::boost)) process = leaving();
    if (motion_ == Motion::descent && seconds_between(std::max(t_height_ns_, t_fix_ns_), t_ns) > kDescentGap_s)
        process.sigma_mps2 = std::max(process.sigma_mps2, kDescentGapSigma_mps2);
    return process;
}

void VerticalFilter::propagate_to(std::int64_t t_ns) {
    pass_gap(t_ns, unmeasured(t_ns));
}

void VerticalFilter::accelerometer(std::int64_t t_ns, double accel_up_mps2, double sigma_mps2, double force_mps2,
                                   const AxisFraction& fraction, double bias_share) {
    if (!std::isfinite(accel_up_mps2) || !std::isfinite(sigma_mps2) || !std::isfinite(force_mps2)) return;
    if (have_accel_ && t_ns <= t_accel_ns_) return;
    accel_late_s_ =
        std::max(std::clamp(seconds_between(t_ns, t_heard_of_ns_), 0.0, kLateMost_s), kLateKept * accel_late_s_);
    t_heard_of_ns_ = std::max(t_heard_of_ns_, t_ns);
    double covered_s = 0.0;
    bool hid = false;
    if (have_accel_) {
        const double since_s = seconds_between(t_accel_ns_, t_ns);
        // The shortest recent spacing is the sensor's; longer ones are lost samples.
        accel_period_s_ = accel_period_s_ == 0.0 ? since_s : std::min(since_s, 1.02 * accel_period_s_);
        covered_s = since_s < kJitter * accel_period_s_ ? since_s : accel_period_s_;
        hid = since_s > std::max(kHides_s, kHidesPeriods * accel_period_s_);
    }
    have_accel_ = true;
    // Where the state is past it already, it would be taken for what is now.
    if (!started_ || motion_ == Motion::descent || t_ns <= t_ns_) {
        t_accel_ns_ = t_ns;
        return;
    }
    const std::int64_t begin_ns = t_ns - seconds_to_ns(covered_s);
    take_waiting(begin_ns, [this](std::int64_t height_ns) { propagate_to(height_ns); });
    propagate_to(begin_ns);
    if (hid && two_models()) {
        // Whoever left in it is where flight has come to meanwhile, and not where rest is now.
        pair_.probability = probability_now();
        t_mixed_ns_ = t_ns_;
        rest_window_ = {};
    }
    t_accel_ns_ = t_ns;
    ahead_.reset();
    if (!(fraction == fraction_)) {
        fraction_ = fraction;
        each_model([&](VerticalKalman& state) { forget(state, kS, fraction.mean, fraction.sigma, carried()); });
    }
    const double variance = sigma_mps2 * sigma_mps2;
    if (gap_since_sample_) {
        VerticalRow observation = VerticalRow::Zero();
        observation(kA) = 1.0;
        observation(kB) = bias_share;
        observation(kS) = force_mps2;
        const VerticalKalman predicted = flight();
        correct(flight(), innovation_of(flight(), observation, accel_up_mps2, variance), observation);
        if (forward_ != nullptr && !two_models()) keep_step(predicted);
        gap_since_sample_ = false;
    }
    take_acceleration(flight(), accel_up_mps2, variance, bias_share, force_mps2, carried());
    // Before the heights of its interval, which would take the speed of a launch for that of rest.
    const bool judged = two_models() && look_for_rest(accel_up_mps2, variance);
    take_waiting(t_ns, [this](std::int64_t height_ns) { propagate_by_sample(height_ns); });
    propagate_by_sample(t_ns);
    if (judged) mix_models();
    take_waiting_fixes(t_ns);
}

void VerticalFilter::clipped(std::int64_t t_ns, double at_least_mps2, double excess_mps2) {
    if (!std::isfinite(at_least_mps2) || !(excess_mps2 > 0.0)) return;
    if (have_accel_ && t_ns <= t_accel_ns_) return;
    have_accel_ = true;
    t_accel_ns_ = t_ns;
    if (started_ && motion_ != Motion::descent) {
        ahead_.reset();
        // A clip ends as suddenly as it begins: no memory of the last sample is better than the bound.
        const SingerProcess beyond{at_least_mps2 + excess_mps2, excess_mps2, 1.0};
        if (!gap_since_sample_ || flight().x(kA) < at_least_mps2)
            forget(flight(), kA, beyond.mean_mps2, beyond.sigma_mps2, carried());
        take_waiting(t_ns, [&](std::int64_t height_ns) { pass_gap(height_ns, beyond); });
        pass_gap(t_ns, beyond);
        // One sample of a shock says nothing of rest; clipped ones in a row do.
        if (two_models() && look_for_rest(at_least_mps2, at_least_mps2 * at_least_mps2)) mix_models();
    }
}

void VerticalFilter::height(std::int64_t t_ns, double altitude_m, double sigma_m, const PortFlow& flow, double day_m) {
    if (!std::isfinite(altitude_m) || !(sigma_m > 0.0) || !(flow.m_per_m2ps2 >= 0.0) || !(flow.across_m2ps2 >= 0.0) ||
        !std::isfinite(flow.up_mps) || !(day_m >= 0.0))
        return;
    const Height height{t_ns, altitude_m, sigma_m, flow, day_m};
    t_heard_of_ns_ = std::max(t_heard_of_ns_, t_ns);
    if (started_ && seconds_between(std::max({t_height_ns_, t_accel_ns_, t_fix_ns_}), t_ns) > kStaleReset_s)
        started_ = false;
    if (t_height_ns_ != 0 && t_ns > t_height_ns_) {
        const double since_s = seconds_between(t_height_ns_, t_ns);
        height_period_s_ = height_period_s_ == 0.0 ? since_s : std::min(since_s, 1.02 * height_period_s_);
    }
    if (!started_) {
        start_from(height);
        return;
    }
    const auto propagate = [this](std::int64_t height_ns) { propagate_to(height_ns); };
    if (inertial_at(t_ns) && t_ns > t_accel_ns_) {
        if (waiting_count_ == waiting_.size()) take_waiting(waiting_[0].t_ns, propagate);
        std::size_t place = waiting_count_++;
        for (; place > 0 && waiting_[place - 1].t_ns > t_ns; --place) waiting_[place] = waiting_[place - 1];
        waiting_[place] = height;
        return;
    }
    take_waiting(t_ns, propagate);
    propagate(t_ns);
    apply_height(height);
}

void VerticalFilter::start_from(const Height& height) {
    waiting_count_ = 0;
    t_height_ns_ = t_height_used_ns_ = height.t_ns;
    start(height.t_ns, height.altitude_m, height.sigma_m, 0.0, motion_ == Motion::rest ? 1.0 : 100.0);
    relate_to_day(height.day_m);
    results_.push_back({height.t_ns, 0.0, 0.0, HeightVerdict::used, true, false});
}

/// A height that came from pressure alone is as wrong as the day's air makes it.
void VerticalFilter::relate_to_day(double day_m) {
    each_model([&](VerticalKalman& state) {
        if (forward_ != nullptr && &state == &flight())
            forward_->transition().row(kH) -= day_m * forward_->transition().row(kK);
        state.x(kH) -= day_m * state.x(kK);
        state.covariance.row(kH) -= day_m * state.covariance.row(kK);
        state.covariance.col(kH) -= day_m * state.covariance.col(kK);
    });
}

void VerticalFilter::advance(std::int64_t t_ns) {
    t_heard_of_ns_ = std::max(t_heard_of_ns_, t_ns);
    const std::int64_t waited_ns = t_ns - seconds_to_ns(wait_s());
    take_waiting(waited_ns, [this](std::int64_t height_ns) { propagate_to(height_ns); });
    take_waiting_fixes(waited_ns);
    const std::int64_t heard_ns = std::max({t_height_ns_, t_accel_ns_, t_fix_ns_, newest_waiting_ns()});
    const bool heard = seconds_between(heard_ns, t_ns) < std::max(kCoastThrough_s, 3.5 * height_period_s_);
    if (!started_ || !heard || samples_follow(t_ns)) return;
    const std::int64_t to_ns = t_ns - seconds_to_ns(kHeightWait_s);
    if (to_ns > t_ns_) look_ahead(to_ns);
}

std::int64_t VerticalFilter::newest_waiting_ns() const noexcept {
    const std::int64_t height_ns = waiting_count_ == 0 ? 0 : waiting_[waiting_count_ - 1].t_ns;
    return waiting_fixes_.empty() ? height_ns : std::max(height_ns, waiting_fixes_.back().t_ns);
}

/// Shows the state of a later time by what is there already, on a copy: what is still to come finds the state of its
/// own time. At rest there is nothing to say beyond what was measured: it may just have left.
void VerticalFilter::look_ahead(std::int64_t to_ns) {
    VerticalFilter copy = *this;
    copy.forward_ = nullptr;
    copy.take_waiting(to_ns, [&copy](std::int64_t height_ns) { copy.propagate_to(height_ns); });
    copy.take_waiting_fixes(to_ns);
    const bool rests = copy.two_models() && copy.probability_now()[kRest] > 0.5;
    if (!rests && to_ns > copy.t_ns_) {
        const VerticalKalman& state = copy.flight();
        const double next_m = state.x(kH) + state.x(kV) * seconds_between(copy.t_ns_, to_ns);
        const bool below = state.x(kV) < 0.0 && next_m < std::min(0.0, state.x(kH));
        if (!below) copy.pass_gap(to_ns, copy.unmeasured(to_ns));
    }
    if (copy.t_ns_ > t_ns_) ahead_ = copy.known();
}

void VerticalFilter::take_scalar(const VerticalRow& rest_row, double rest_measured, const VerticalRow& flight_row,
                                 double flight_measured, double variance, double more_in_flight) {
    // The barometer says nothing of its own air: only fixes teach k.
    const auto take = [](VerticalKalman& state, const ScalarInnovation& innovation, const VerticalRow& row) {
        if (row(kK) != 0.0)
            correct_considering(state, kK, innovation, row);
        else
            correct(state, innovation, row);
    };
    const ScalarInnovation in_flight = innovation_of(flight(), flight_row, flight_measured, variance + more_in_flight);
    if (two_models()) {
        const ScalarInnovation at_rest = innovation_of(pair_.model[kRest], rest_row, rest_measured, variance);
        pair_.probability = probability_now();
        weigh(pair_.probability, {at_rest.log_likelihood(), in_flight.log_likelihood()});
        take(pair_.model[kRest], at_rest, rest_row);
    }
    const VerticalKalman predicted = forward_ == nullptr ? VerticalKalman() : flight();
    take(flight(), in_flight, flight_row);
    if (forward_ != nullptr && !two_models()) keep_step(predicted);
}

/// The gas of a charge leaves the bay in a tenth of a second: a height that fits again may be the tail of what did not.
/// Where an accelerometer carries the speed, a tail does it no harm.
double VerticalFilter::tail_of_pulse_m(std::int64_t t_ns) const noexcept {
    if (two_models() || inertial_at(t_ns)) return 0.0;
    return pulse_m_ * std::exp(-seconds_between(t_pulse_ns_, t_ns) / kPulseTail_s);
}

/// The port's error goes with the square of a speed that may be made of the same heights: the noise of one would look
/// as if it told of the other. What their product adds to a height's variance, by the second derivative of the height;
/// A. H. Jazwinski, "Stochastic Processes and Filtering Theory", 1970, section 9.3, from memory.
double VerticalFilter::port_by_speed_m2(double m_per_mps) const noexcept {
    const auto& covariance = flight().covariance;
    const double together = covariance(kC, kV) * covariance(kC, kV);
    const double alike = std::max(1.0, kSpeedKept_s / std::max(height_period_s_, 1e-3));
    return 4.0 * alike * m_per_mps * m_per_mps * (covariance(kC, kC) * covariance(kV, kV) + together);
}

void VerticalFilter::apply_height(const Height& height) {
    const double late_s = seconds_between(height.t_ns, t_ns_);
    if (late_s > kHeightLate_s) {
        results_.push_back({height.t_ns, 0.0, 0.0, HeightVerdict::too_old, false, false});
        return;
    }
    t_height_ns_ = std::max(t_height_ns_, height.t_ns);
    ahead_.reset();
    if (motion_ != Motion::rest) {
        const double kept = std::exp(-std::fabs(flight().x(kH) - day_at_m_) / kDayLength_m);
        drift(flight(), kK, kept, 1.0, carried());
        day_at_m_ = flight().x(kH);
    }
    VerticalRow rest_row = VerticalRow::Zero();
    rest_row(kH) = 1.0;
    const double up_mps = in_batches() ? flight().x(kV) : height.flow.up_mps;
    rest_row(kC) = -height.flow.m_per_m2ps2 * (height.flow.across_m2ps2 + up_mps * up_mps);
    rest_row(kD) = -up_mps;
    rest_row(kK) = height.day_m;
    VerticalRow flight_row = rest_row;
    const double ago_s = std::max(0.0, late_s);
    flight_row(kV) = -ago_s;
    flight_row(kA) = 0.5 * ago_s * ago_s;
    const double variance = height.sigma_m * height.sigma_m + port_by_speed_m2(height.flow.m_per_m2ps2 * up_mps);
    ScalarInnovation seen = innovation_of(flight(), flight_row, height.altitude_m, variance);
    if (two_models()) {
        const ScalarInnovation at_rest = innovation_of(pair_.model[kRest], rest_row, height.altitude_m, variance);
        if (at_rest.nis < seen.nis) seen = at_rest;
    }
    // A state that has become unsure fits a stuck barometer too.
    const bool fits = seen.nis <= settings_.gate_nis && !as_stuck(height.altitude_m, height.sigma_m);
    const double judged_s = seconds_between(t_judged_ns_, height.t_ns);
    const bool alike = motion_ != Motion::rest;
    if ((fits || seconds_between(t_height_used_ns_, height.t_ns) > kPulse_s) &&
        (!alike || judged_s >= kJudgedLeast_s)) {
        const double degrees = alike ? std::min(1.0, judged_s / kHeightsAgree_s) : 1.0;
        monitor_.add(degrees * seen.nis, degrees);
        t_judged_ns_ = height.t_ns;
    }
    HeightResult result{height.t_ns, seen.value, seen.nis, HeightVerdict::used, false, false};
    if (fits) {
        const double tail_m = tail_of_pulse_m(height.t_ns);
        take_scalar(rest_row, height.altitude_m, flight_row, height.altitude_m, variance + tail_m * tail_m);
        mix_models();
        rejected_count_ = 0;
        t_height_used_ns_ = std::max(t_height_used_ns_, height.t_ns);
    } else if (!recover(height, result.stuck)) {
        result.verdict = HeightVerdict::gated;
        pulse_m_ = seen.value;
        t_pulse_ns_ = height.t_ns;
        if (two_models() && !inertial_at(t_ns_) && rejected_count_ >= kHeightsOfLeaving) {
            // Heights alone show that it leaves rest: perhaps a flight. Speed is unknown from here.
            pair_.probability = {0.0, 1.0};
            walk(flight(), kV, kUnrestSpeed_mps * kUnrestSpeed_mps);
        }
    } else {
        result.restarted = true;
        t_height_used_ns_ = height.t_ns;
        pulse_m_ = 0.0;
    }
    results_.push_back(result);
}

std::vector<HeightResult> VerticalFilter::take_results() {
    std::vector<HeightResult> out;
    out.swap(results_);
    return out;
}

} // namespace turnstone::estimate
