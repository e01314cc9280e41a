#pragma once
/// The linear Kalman filter recursion for small fixed sizes, without any model of its own.
///
/// Equations: Y. Bar-Shalom, X. R. Li, T. Kirubarajan, "Estimation with Applications to Tracking and Navigation", Wiley
/// 2001, section 5.2 (recursion), eq. 5.2.3-18 (Joseph form), section 5.4 (normalised innovation squared). The Joseph
/// form keeps the covariance symmetric and positive for any gain, even one spoilt by rounding or clipped by a caller.
/// Checked in tests/estimate/math/test_kalman.cpp against an independent 50-digit solution.
#include <cmath>

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>

namespace turnstone::estimate {

template <int N>
struct KalmanState {
    Eigen::Matrix<double, N, 1> x = Eigen::Matrix<double, N, 1>::Zero();
    Eigen::Matrix<double, N, N> covariance = Eigen::Matrix<double, N, N>::Zero();
};

/// x = F x, P = F P F' + Q. A known input is added to x by the caller.
template <int N>
void kalman_predict(KalmanState<N>& state, const Eigen::Matrix<double, N, N>& transition,
                    const Eigen::Matrix<double, N, N>& process_noise) {
    state.x = transition * state.x;
    const Eigen::Matrix<double, N, N> propagated =
        transition * state.covariance * transition.transpose() + process_noise;
    state.covariance = 0.5 * (propagated + propagated.transpose());
}

template <int M>
struct Innovation {
    Eigen::Matrix<double, M, 1> value;      ///< measurement minus prediction
    Eigen::Matrix<double, M, M> covariance; ///< S
    double nis;                             ///< value' S^-1 value: chi-square with M degrees of freedom when consistent
};

template <int N, int M>
[[nodiscard]] Innovation<M> kalman_innovation(const KalmanState<N>& state, const Eigen::Matrix<double, M, 1>& z,
                                              const Eigen::Matrix<double, M, N>& observation,
                                              const Eigen::Matrix<double, M, M>& noise) {
    Innovation<M> innovation;
    innovation.value = z - observation * state.x;
    innovation.covariance = observation * state.covariance * observation.transpose() + noise;
    innovation.nis = innovation.value.dot(innovation.covariance.inverse() * innovation.value);
    return innovation;
}

/// Applies an innovation made by kalman_innovation() with the same observation and noise.
template <int N, int M>
void kalman_correct(KalmanState<N>& state, const Innovation<M>& innovation,
                    const Eigen::Matrix<double, M, N>& observation, const Eigen::Matrix<double, M, M>& noise) {
    using Square = Eigen::Matrix<double, N, N>;
    const Eigen::Matrix<double, N, M> gain =
        state.covariance * observation.transpose() * innovation.covariance.inverse();
    state.x += gain * innovation.value;
    const Square keep = Square::Identity() - gain * observation;
    const Square corrected = keep * state.covariance * keep.transpose() + gain * noise * gain.transpose();
    state.covariance = 0.5 * (corrected + corrected.transpose());
}

/// Corrects a covariance whose states from `estimated` on are only considered (their gain is zero); returns the gain.
/// Schmidt's filter, sources in server/estimate/navigation/eskf.hpp. Joseph form, (I - K H) P (I - K H)' + K R K',
/// which holds for any gain, from the left and then from the right, without products of two whole matrices. Checked
/// in tests/estimate/navigation/test_eskf.cpp against exact fractions.
template <int N, int M>
Eigen::Matrix<double, N, M> consider_correct(Eigen::Matrix<double, N, N>& covariance, int estimated,
                                             const Eigen::Matrix<double, M, N>& observation,
                                             const Eigen::Matrix<double, M, M>& noise) {
    const Eigen::Matrix<double, N, M> ph = covariance.lazyProduct(observation.transpose());
    const Eigen::Matrix<double, M, M> s = observation.lazyProduct(ph) + noise;
    Eigen::Matrix<double, N, M> gain = s.ldlt().solve(ph.transpose()).transpose();
    gain.bottomRows(N - estimated).setZero();
    covariance -= gain.lazyProduct(ph.transpose());
    const Eigen::Matrix<double, N, M> rest = gain.lazyProduct(noise) - covariance.lazyProduct(observation.transpose());
    covariance += rest.lazyProduct(gain.transpose());
    return gain;
}

} // namespace turnstone::estimate
