// Rest and flight side by side in the vertical filter: how probable rest is, and what the two state together.
#include <algorithm>
#include <cmath>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using namespace vertical_states;

namespace {

/// A vehicle leaves rest about once in a minute, and a motion that nobody announced lasts ten.
constexpr double kLeavesRest_per_s = 0.02;
constexpr double kComesToRest_per_s = 0.1;
/// Rest as an accelerometer shows it: means over kOneCycle_s, with the sway of a rail.
constexpr double kRestSway_mps2 = 0.05;
constexpr double kRestGateNis = 9.0;
/// What no sway is, and thrust is within a few hundredths of a second: where the sensor is as sure of it, there is no
/// waiting for the end of the cycle.
constexpr double kUnmistakable_mps2 = 10.0;
constexpr double kRestPenaltyMax = 50.0;
/// An accelerometer that contradicts rest for so long, while heights agree with it, has been turned over.
constexpr double kRestRejectedMax_s = 3.0;

} // namespace

/// Whatever is not looked at may have left rest.
std::array<double, 2> VerticalFilter::probability_now() const {
    const double left = -std::expm1(-kLeavesRest_per_s * std::max(0.0, seconds_between(t_mixed_ns_, t_ns_)));
    const double rests = (1.0 - left) * pair_.probability[kRest];
    return {rests, 1.0 - rests};
}

VerticalKalman VerticalFilter::stated() const {
    if (!two_models()) return flight();
    TwoModels<kVerticalStates> pair = pair_;
    pair.probability = probability_now();
    forget(pair.model[kRest], kA, 0.0, kRestSway_mps2);
    return combined<kVerticalStates>(pair);
}

/// After each update, so that each model goes into a gap from where it may have begun.
void VerticalFilter::mix_models() {
    if (!two_models()) return;
    const double dt_s = std::max(0.0, seconds_between(t_mixed_ns_, t_ns_));
    t_mixed_ns_ = t_ns_;
    const double leaves = -std::expm1(-kLeavesRest_per_s * dt_s);
    const double rests = -std::expm1(-kComesToRest_per_s * dt_s);
    mix<kVerticalStates>(pair_, {{{1.0 - leaves, leaves}, {rests, 1.0 - rests}}});
}

/// What the accelerometer says of rest: nothing for it, since smooth motion feels the same, and much against it. False
/// before the end of a cycle; after one the models are to be mixed.
bool VerticalFilter::look_for_rest(double accel_up_mps2, double variance) {
    RestWindow& window = rest_window_;
    if (window.count == 0 && window.began_ns == 0) window.began_ns = t_accel_ns_ - seconds_to_ns(accel_period_s_);
    window.sum_mps2 += accel_up_mps2;
    window.variance_sum += variance;
    ++window.count;
    const double n = window.count;
    const double mean = window.sum_mps2 / n;
    const double lasted_s = seconds_between(window.began_ns, t_accel_ns_);
    const double off_mps2 = std::fabs(accel_up_mps2 - pair_.model[kRest].x(kB));
    const bool unmistakable = off_mps2 >= kUnmistakable_mps2 && off_mps2 * off_mps2 > kRestGateNis * variance;
    if (lasted_s < std::max(kOneCycle_s, accel_period_s_) - 1e-6 && !unmistakable) return false;
    const double mean_variance = window.variance_sum / (n * n) + kRestSway_mps2 * kRestSway_mps2;
    window = {.began_ns = t_accel_ns_, .rejected_s = window.rejected_s};
    VerticalKalman& rest = pair_.model[kRest];
    VerticalRow observation = VerticalRow::Zero();
    observation(kB) = 1.0;
    const ScalarInnovation innovation = innovation_of(rest, observation, mean, mean_variance);
    if (innovation.nis <= kRestGateNis) {
        correct(rest, innovation, observation);
        window.rejected_s = 0;
        return true;
    }
    weigh(pair_.probability, {-0.5 * std::min(innovation.nis, kRestPenaltyMax), 0.0});
    const double unrest = std::fabs(flight().x(kV)) / std::sqrt(flight().covariance(kV, kV));
    window.rejected_s += lasted_s;
    if (window.rejected_s < kRestRejectedMax_s - 1e-6 || unrest > 3.0 || rejected_count_ > 0) return true;
    window.rejected_s = 0;
    for (VerticalKalman& state : pair_.model) forget(state, kB, 0.0, settings_.accel_bias_mps2 + std::fabs(mean));
    return true;
}

VerticalEstimate VerticalFilter::known() const {
    const VerticalKalman state = stated();
    const auto sigma = [&](VerticalState which) { return std::sqrt(std::max(0.0, state.covariance(which, which))); };
    VerticalEstimate out;
    out.t_ns = t_ns_;
    if (two_models() && t_ns_ == t_by_fix_ns_) out.t_ns -= seconds_to_ns(2.0 * std::sqrt(flight().covariance(kE, kE)));
    out.valid = started_;
    out.inertial = inertial_at(t_ns_);
    out.altitude_m = state.x(kH);
    out.altitude_sigma_m = std::hypot(sigma(kH), reference_sigma_m_);
    out.vertical_speed_mps = state.x(kV);
    out.vertical_speed_sigma_mps = sigma(kV);
    out.acceleration_mps2 = state.x(kA);
    out.acceleration_sigma_mps2 = sigma(kA);
    out.accel_bias_mps2 = state.x(kB);
    out.accel_bias_sigma_mps2 = sigma(kB);
    out.axis_fraction = state.x(kS);
    out.axis_fraction_sigma = sigma(kS);
    out.port_coefficient = state.x(kC);
    out.port_coefficient_sigma = sigma(kC);
    out.delay_s = state.x(kD);
    out.delay_sigma_s = sigma(kD);
    out.fix_offset_m = state.x(kG) + state.x(kO);
    out.fix_offset_sigma_m =
        std::sqrt(std::max(0.0, state.covariance(kG, kG) + state.covariance(kO, kO) + 2.0 * state.covariance(kG, kO)));
    out.rest_probability = pair_.probability[kRest];
    out.nis = monitor_.last();
    out.nis_mean = monitor_.mean();
    out.health = monitor_.health();
    return out;
}

} // namespace turnstone::estimate
