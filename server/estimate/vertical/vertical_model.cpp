#include "server/estimate/vertical/vertical_model.hpp"

#include <cmath>
#include <numbers>

namespace turnstone::estimate {

using namespace vertical_states;

namespace {

constexpr double kStillSpeed_mps = 0.02; ///< the rail gives in the wind
constexpr double kStandingWalk_m_rts = 0.03;

/// Of h, v and a with their correlations to everything else.
void transform(VerticalKalman& state, const Eigen::Matrix3d& transition, VerticalMatrix* carried) {
    if (carried != nullptr) carried->topRows<3>() = (transition * carried->topRows<3>()).eval();
    state.x.head<3>() = (transition * state.x.head<3>()).eval();
    state.covariance.topRows<3>() = (transition * state.covariance.topRows<3>()).eval();
    state.covariance.leftCols<3>() = (state.covariance.leftCols<3>() * transition.transpose()).eval();
}

} // namespace

void propagate_held(VerticalKalman& state, double dt_s, VerticalMatrix* carried) {
    Eigen::Matrix3d transition = Eigen::Matrix3d::Identity();
    transition(kH, kV) = dt_s;
    transition(kH, kA) = 0.5 * dt_s * dt_s;
    transition(kV, kA) = dt_s;
    transform(state, transition, carried);
}

void propagate_singer(VerticalKalman& state, double dt_s, const SingerProcess& process, VerticalMatrix* carried) {
    const double alpha = 1.0 / process.tau_s;
    const double decay = std::exp(-alpha * dt_s);
    Eigen::Matrix3d transition = Eigen::Matrix3d::Identity();
    transition(kH, kV) = dt_s;
    transition(kH, kA) = (alpha * dt_s - 1.0 + decay) / (alpha * alpha);
    transition(kV, kA) = (1.0 - decay) / alpha;
    transition(kA, kA) = decay;
    const double q = 2.0 * process.sigma_mps2 * process.sigma_mps2 * alpha;
    // Singer 1970 eq. 16 loses all digits for short steps; there, white jerk of the same density is exact to alpha dt.
    Eigen::Matrix3d noise;
    const double d = dt_s;
    if (alpha * d < 0.05) {
        noise(kH, kH) = q * d * d * d * d * d / 20.0;
        noise(kH, kV) = q * d * d * d * d / 8.0;
        noise(kH, kA) = q * d * d * d / 6.0;
        noise(kV, kV) = q * d * d * d / 3.0;
        noise(kV, kA) = q * d * d / 2.0;
        noise(kA, kA) = q * d;
    } else {
        const double e1 = decay, e2 = decay * decay, ad = alpha * d;
        noise(kH, kH) = q / (2.0 * std::pow(alpha, 5)) *
                        (1.0 - e2 + 2.0 * ad + 2.0 * ad * ad * ad / 3.0 - 2.0 * ad * ad - 4.0 * ad * e1);
        noise(kH, kV) = q / (2.0 * std::pow(alpha, 4)) * (e2 + 1.0 - 2.0 * e1 + 2.0 * ad * e1 - 2.0 * ad + ad * ad);
        noise(kH, kA) = q / (2.0 * std::pow(alpha, 3)) * (1.0 - e2 - 2.0 * ad * e1);
        noise(kV, kV) = q / (2.0 * std::pow(alpha, 3)) * (4.0 * e1 - 3.0 - e2 + 2.0 * ad);
        noise(kV, kA) = q / (2.0 * alpha * alpha) * (e2 + 1.0 - 2.0 * e1);
        noise(kA, kA) = q / (2.0 * alpha) * (1.0 - e2);
    }
    noise(kV, kH) = noise(kH, kV);
    noise(kA, kH) = noise(kH, kA);
    noise(kA, kV) = noise(kV, kA);
    const double mean = process.mean_mps2;
    state.x(kA) -= mean;
    transform(state, transition, carried);
    state.covariance.topLeftCorner<3, 3>() += noise;
    state.x(kH) += 0.5 * mean * d * d;
    state.x(kV) += mean * d;
    state.x(kA) += mean;
}

void propagate_rest(VerticalKalman& state, double dt_s, double accel_sigma_mps2) {
    forget(state, kV, 0.0, kStillSpeed_mps);
    forget(state, kA, 0.0, accel_sigma_mps2);
    walk(state, kH, kStandingWalk_m_rts * kStandingWalk_m_rts * dt_s);
}

void take_acceleration(VerticalKalman& state, double accel_up_mps2, double variance, double bias_share,
                       double force_mps2, VerticalMatrix* carried) {
    if (carried != nullptr) carried->row(kA) = (-bias_share * carried->row(kB) - force_mps2 * carried->row(kS)).eval();
    auto& covariance = state.covariance;
    // Of b and s f with all states.
    const Eigen::Matrix<double, kVerticalStates, 1> error =
        (bias_share * covariance.row(kB) + force_mps2 * covariance.row(kS)).transpose();
    state.x(kA) = accel_up_mps2 - bias_share * state.x(kB) - force_mps2 * state.x(kS);
    const double own = bias_share * error(kB) + force_mps2 * error(kS) + variance;
    covariance.row(kA) = -error.transpose();
    covariance.col(kA) = -error;
    covariance(kA, kA) = own;
}

void forget(VerticalKalman& state, VerticalState which, double mean, double sigma, VerticalMatrix* carried) {
    if (carried != nullptr) carried->row(which).setZero();
    state.x(which) = mean;
    state.covariance.row(which).setZero();
    state.covariance.col(which).setZero();
    state.covariance(which, which) = sigma * sigma;
}

void drift(VerticalKalman& state, VerticalState which, double kept, double sigma, VerticalMatrix* carried) {
    if (carried != nullptr) carried->row(which) *= kept;
    state.x(which) *= kept;
    state.covariance.row(which) *= kept;
    state.covariance.col(which) *= kept;
    state.covariance(which, which) += (1.0 - kept * kept) * sigma * sigma;
}

double ScalarInnovation::log_likelihood() const noexcept {
    return -0.5 * (nis + std::log(2.0 * std::numbers::pi * variance));
}

ScalarInnovation innovation_of(const VerticalKalman& state, const VerticalRow& observation, double measured,
                               double variance) {
    const double value = measured - observation.dot(state.x.transpose());
    const double predicted = observation * state.covariance * observation.transpose();
    const double total = predicted + variance;
    return {value, total, value * value / total};
}

void correct(VerticalKalman& state, const ScalarInnovation& innovation, const VerticalRow& observation) {
    const Eigen::Matrix<double, kVerticalStates, 1> with = state.covariance * observation.transpose();
    state.x += with * (innovation.value / innovation.variance);
    state.covariance -= (with * with.transpose()) / innovation.variance;
}

void correct_considering(VerticalKalman& state, VerticalState considered, const ScalarInnovation& innovation,
                         const VerticalRow& observation) {
    const Eigen::Matrix<double, kVerticalStates, 1> with = state.covariance * observation.transpose();
    Eigen::Matrix<double, kVerticalStates, 1> gain = with / innovation.variance;
    gain(considered) = 0.0;
    state.x += gain * innovation.value;
    // Joseph form for one measurement, expanded.
    state.covariance +=
        gain * (gain.transpose() * innovation.variance) - gain * with.transpose() - with * gain.transpose();
}

} // namespace turnstone::estimate
