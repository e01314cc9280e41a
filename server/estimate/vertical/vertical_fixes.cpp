// Fixes in the vertical filter.
#include <algorithm>
#include <cmath>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using namespace vertical_states;

namespace {

constexpr double kFixGap_s = 1.5; ///< longer, and the receiver has lost its fix
/// 1-sigma that a receiver adds at the first fix after a loss under acceleration, and how fast that goes. Common
/// practice, no source.
constexpr double kReturnHeight_m = 25.0;
constexpr double kReturnSpeed_mps = 7.0;
constexpr double kReturnTime_s = 1.0;
constexpr double kFixSoft_nis = 6.0; ///< beyond, a fix weighs less
constexpr double kFixAgrees_nis = 9.0;
constexpr double kFixFar_nis = 100.0;
constexpr int kFixesFar = 5;
constexpr double kFixAgreed_s = 2.0; ///< a fix that agreed speaks for the filter this long
constexpr double kHeightsGone_s = 2.0;
constexpr double kFixSpeedAtFirst_mps = 3.0;
constexpr double kFixBendLeast_s = 0.02, kFixBendMost_s = 0.1;

} // namespace

bool VerticalFilter::fixes_agree() const noexcept {
    return t_fix_agreed_ns_ != 0 && seconds_between(t_fix_agreed_ns_, t_ns_) < kFixAgreed_s;
}

/// From `t_ns` to the state's time.
VerticalFilter::Travelled VerticalFilter::travelled_since(std::int64_t t_ns) const {
    const Travelled& now = travelled_.back();
    const std::size_t after = travelled_.since(t_ns);
    if (after == 0) {
        const double more_s = seconds_between(t_ns, travelled_[0].t_ns);
        return {t_ns, now.height_m - travelled_[0].height_m + more_s * (flight().x(kV) - now.speed_mps),
                now.speed_mps - travelled_[0].speed_mps, now.jolts_m2ps2 - travelled_[0].jolts_m2ps2};
    }
    if (after == travelled_.size()) {
        const double ahead_s = seconds_between(now.t_ns, t_ns);
        return {t_ns, -ahead_s * flight().x(kV), -ahead_s * flight().x(kA), 0.0};
    }
    const Travelled& low = travelled_[after - 1];
    const Travelled& high = travelled_[after];
    const double part = seconds_between(low.t_ns, t_ns) / seconds_between(low.t_ns, high.t_ns);
    return {t_ns, now.height_m - low.height_m - part * (high.height_m - low.height_m),
            now.speed_mps - low.speed_mps - part * (high.speed_mps - low.speed_mps), now.jolts_m2ps2 - low.jolts_m2ps2};
}

/// Where inertial samples come many at a time, a fix waits for those of its time.
void VerticalFilter::fix(const VerticalFix& fix) {
    t_heard_of_ns_ = std::max(t_heard_of_ns_, fix.t_ns);
    if (started_ && in_batches() && inertial_at(fix.t_ns) && fix.t_ns > t_accel_ns_ &&
        waiting_fixes_.size() < kWaitingFixes) {
        waiting_fixes_.push_back(fix);
        return;
    }
    take_waiting_fixes(fix.t_ns);
    take_fix(fix);
}

void VerticalFilter::take_waiting_fixes(std::int64_t up_to_t_ns) {
    auto taken = waiting_fixes_.begin();
    while (taken != waiting_fixes_.end() && taken->t_ns <= up_to_t_ns) take_fix(*taken++);
    waiting_fixes_.erase(waiting_fixes_.begin(), taken);
}

void VerticalFilter::take_fix(const VerticalFix& fix) {
    const bool has_height = std::isfinite(fix.height_m) && fix.height_sigma_m > 0.0;
    bool has_speed = std::isfinite(fix.speed_mps) && fix.speed_sigma_mps > 0.0;
    std::int64_t valid_ns = fix.t_valid_ns != 0 ? fix.t_valid_ns : fix.t_ns - seconds_to_ns(settings_.fix_delay_s);
    if (!has_height || fix.t_ns <= t_fix_ns_) return;
    const double since_s = t_fix_ns_ == 0 ? 1e9 : seconds_between(t_fix_ns_, fix.t_ns);
    const bool came_back = t_fix_ns_ != 0 && since_s > kFixGap_s;
    if (t_fix_ns_ == 0) t_fixes_since_ns_ = fix.t_ns - seconds_to_ns(10.0 * kReturnTime_s);
    if (came_back) t_fixes_since_ns_ = fix.t_ns;
    if (started_ && seconds_between(std::max({t_ns_, t_height_ns_, t_accel_ns_, t_fix_ns_}), fix.t_ns) > kStaleReset_s)
        started_ = false;
    t_fix_ns_ = fix.t_ns;
    const double lasting_m = std::sqrt(settings_.fix_correlated_share) * fix.height_sigma_m;
    if (!started_) {
        start(valid_ns, fix.height_m, std::hypot(settings_.pad_datum_sigma_m, fix.height_sigma_m),
              has_speed ? fix.speed_mps : 0.0, has_speed ? 2.0 * fix.speed_sigma_mps : 100.0);
        return;
    }
    for (VerticalKalman& state : pair_.model)
        drift(state, kG, std::exp(-std::min(since_s, 1e6) / settings_.fix_correlation_s), lasting_m,
              &state == &flight() ? carried() : nullptr);
    if (seconds_between(valid_ns, t_ns_) > kHeightLate_s + settings_.fix_delay_s) return;
    ahead_.reset();
    if (!inertial_at(fix.t_ns)) propagate_to(valid_ns);
    if (t_ns_ == valid_ns && fix.t_valid_ns == 0) t_by_fix_ns_ = t_ns_;

    // At the delay that is believed; the rest is linear. Where the motion bends within what the delay may be off by, at
    // liftoff above all, a derivative alone would learn a delay that is not there: what the bend leaves is noise.
    const bool exact = fix.t_valid_ns != 0;
    const double believed_s = exact ? 0.0 : flight().x(kE);
    valid_ns -= seconds_to_ns(believed_s);
    const double around_s = std::clamp(std::sqrt(flight().covariance(kE, kE)), kFixBendLeast_s, kFixBendMost_s);
    const std::int64_t around_ns = seconds_to_ns(around_s);
    const std::int64_t middle_ns = std::min(valid_ns, t_ns_ - around_ns);
    const Travelled sooner = travelled_since(middle_ns - around_ns), middle = travelled_since(middle_ns),
                    later = travelled_since(middle_ns + around_ns);
    const double bend_m = exact ? 0.0 : 0.5 * (sooner.height_m - 2.0 * middle.height_m + later.height_m);
    const double bend_mps = exact ? 0.0 : 0.5 * (sooner.speed_mps - 2.0 * middle.speed_mps + later.speed_mps);

    const double returning = std::exp(-seconds_between(t_fixes_since_ns_, fix.t_ns) / kReturnTime_s);
    const Travelled travelled = travelled_since(valid_ns);
    const double ago_s = seconds_between(valid_ns, t_ns_);
    const double speed_then_mps = flight().x(kV) - travelled.speed_mps;
    // A fix from before a shock says nothing of the speed after it.
    const double jolts_m2ps2 = travelled_since(valid_ns - seconds_to_ns(exact ? 0.0 : around_s)).jolts_m2ps2;
    if (jolts_m2ps2 > fix.speed_sigma_mps * fix.speed_sigma_mps) has_speed = false;

    // Linear in the state; what the state's own history says beyond that is taken off the measurement.
    VerticalRow rest_row = VerticalRow::Zero();
    rest_row(kH) = rest_row(kG) = rest_row(kO) = 1.0;
    VerticalRow row = rest_row;
    row(kV) = -ago_s;
    row(kA) = 0.5 * ago_s * ago_s;
    row(kE) = exact ? 0.0 : -speed_then_mps;
    const double height_linear_m = -ago_s * flight().x(kV) + 0.5 * ago_s * ago_s * flight().x(kA) + travelled.height_m;
    double height_variance =
        fix.scatter * (1.0 - settings_.fix_correlated_share) * fix.height_sigma_m * fix.height_sigma_m;
    height_variance +=
        kReturnHeight_m * kReturnHeight_m * returning * returning + bend_m * bend_m + jolts_m2ps2 * ago_s * ago_s;
    const double height_m = fix.height_m + height_linear_m + row(kE) * believed_s;

    VerticalRow speed_row = VerticalRow::Zero();
    speed_row(kV) = 1.0;
    const VerticalRow rest_speed_row = speed_row;
    speed_row(kA) = -ago_s;
    const double accel_then_mps2 = (sooner.speed_mps - later.speed_mps) / (2.0 * around_s);
    speed_row(kE) = exact ? 0.0 : -accel_then_mps2;
    const double speed_mps = fix.speed_mps - ago_s * flight().x(kA) + travelled.speed_mps + speed_row(kE) * believed_s;
    double speed_variance = fix.speed_sigma_mps * fix.speed_sigma_mps;
    // Of what may just have left rest neither the acceleration nor the delay is known, and their product least.
    const double product = exact || !two_models() ? 0.0 : flight().covariance(kA, kA) * flight().covariance(kE, kE);
    speed_variance += kReturnSpeed_mps * kReturnSpeed_mps * returning * returning + bend_mps * bend_mps;

    // What rests wanders in the model where it flies, and that wandering is not a delay.
    double height_more = 0.0, speed_more = product;
    if (two_models()) {
        const double delay_variance = flight().covariance(kE, kE);
        height_more += row(kE) * row(kE) * delay_variance;
        speed_more += speed_row(kE) * speed_row(kE) * delay_variance;
        row(kE) = speed_row(kE) = 0.0;
    }
    const auto soften = [&](const VerticalRow& observation, double measured, double variance, double more_in_flight) {
        const ScalarInnovation seen = innovation_of(flight(), observation, measured, variance + more_in_flight);
        if (seen.nis <= kFixSoft_nis) return variance;
        return variance + seen.value * seen.value / kFixSoft_nis - seen.variance;
    };
    double nis = innovation_of(flight(), row, height_m, height_variance + height_more).nis;
    if (has_speed) nis = std::max(nis, innovation_of(flight(), speed_row, speed_mps, speed_variance + speed_more).nis);
    if (two_models()) {
        double at_rest = innovation_of(pair_.model[kRest], rest_row, fix.height_m, height_variance).nis;
        if (has_speed)
            at_rest =
                std::max(at_rest, innovation_of(pair_.model[kRest], rest_speed_row, fix.speed_mps, speed_variance).nis);
        nis = std::min(nis, at_rest);
    }
    if (nis < kFixAgrees_nis) t_fix_agreed_ns_ = t_ns_;
    fixes_far_ = nis > kFixFar_nis ? fixes_far_ + 1 : 0;
    const bool heights_gone = t_height_used_ns_ == 0 || seconds_between(t_height_used_ns_, t_ns_) > kHeightsGone_s;
    if (fixes_far_ >= kFixesFar && heights_gone) {
        // Nothing else knows better.
        const double offset_m = flight().x(kG) + flight().x(kO);
        const double offset_variance = flight().covariance(kG, kG) + flight().covariance(kO, kO);
        start(t_ns_, fix.height_m - offset_m + ago_s * (has_speed ? fix.speed_mps : 0.0),
              std::sqrt(offset_variance + fix.height_sigma_m * fix.height_sigma_m), has_speed ? fix.speed_mps : 0.0,
              has_speed ? kFixSpeedAtFirst_mps + 2.0 * fix.speed_sigma_mps : 100.0);
        return;
    }
    // Rest does not travel: it is measured as it stands.
    take_scalar(rest_row, fix.height_m, row, height_m, soften(row, height_m, height_variance, height_more),
                height_more);
    if (has_speed) {
        const double variance = soften(speed_row, speed_mps, speed_variance, speed_more);
        take_scalar(rest_speed_row, fix.speed_mps, speed_row, speed_mps, variance, speed_more);
    }
    mix_models();
}

} // namespace turnstone::estimate
