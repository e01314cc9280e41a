#pragma once
/// The backward pass over a Kalman filter's forward pass: each state given all measurements, those after it too.
///
/// Fixed-interval smoothing: H. E. Rauch, F. Tung, C. T. Striebel, "Maximum Likelihood Estimates of Linear Dynamic
/// Systems", AIAA Journal 3(8), 1965, 1445-1450, eqs. 3.28 to 3.30. It needs the predictions and what lies between
/// them, not the measurements. Its covariance is that of its errors also behind a filter that only considers some
/// states (S. F. Schmidt, 1966) as long as the filter's covariance is: the error of the forward state less its
/// regression on the next prediction's is uncorrelated with everything later.
///
/// A prediction may be singular: a state that is known exactly, or not there yet. The inverse is then that of the
/// directions which have a variance. A row of zeros in a transition says that a state was begun again there: nothing
/// later says anything of what it was. Checked in tests/estimate/smoothing against
/// tests/reference/numerics/kalman_steady.json and a case in rational arithmetic.
#include <cstdint>
#include <span>
#include <vector>

#include <Eigen/Eigenvalues>

#include "server/estimate/math/kalman.hpp"

namespace turnstone::estimate {

/// One stop of the forward pass: a measurement, or a moment that is to be shown.
template <int N>
struct ForwardStep {
    std::int64_t t_ns = 0;
    /// From the state of the step before, corrected, to this prediction; known inputs are in the prediction.
    Eigen::Matrix<double, N, N> transition = Eigen::Matrix<double, N, N>::Zero();
    KalmanState<N> predicted, corrected;
};

/// The inverse of a covariance on the directions that have a variance: eigenvalues of the correlation matrix below
/// `least` are taken for none.
template <int N>
[[nodiscard]] Eigen::Matrix<double, N, N> inverse_where_known(const Eigen::Matrix<double, N, N>& covariance,
                                                              double least = 1e-12) {
    using Square = Eigen::Matrix<double, N, N>;
    Eigen::Matrix<double, N, 1> scale;
    for (int i = 0; i < N; ++i) scale(i) = covariance(i, i) > 0 ? 1 / std::sqrt(covariance(i, i)) : 0.0;
    const Square correlation = scale.asDiagonal() * covariance * scale.asDiagonal();
    const Eigen::SelfAdjointEigenSolver<Square> solver(0.5 * (correlation + correlation.transpose()));
    Eigen::Matrix<double, N, 1> inverse;
    for (int i = 0; i < N; ++i) inverse(i) = solver.eigenvalues()(i) > least ? 1 / solver.eigenvalues()(i) : 0.0;
    const Square unscaled = solver.eigenvectors() * inverse.asDiagonal() * solver.eigenvectors().transpose();
    return scale.asDiagonal() * unscaled * scale.asDiagonal();
}

/// The state of `now` given the smoothed one of `next`.
template <int N>
[[nodiscard]] KalmanState<N> smoothed_before(const ForwardStep<N>& now, const ForwardStep<N>& next,
                                             const KalmanState<N>& next_smoothed) {
    using Square = Eigen::Matrix<double, N, N>;
    const Square gain =
        now.corrected.covariance * next.transition.transpose() * inverse_where_known<N>(next.predicted.covariance);
    KalmanState<N> out;
    out.x = now.corrected.x + gain * (next_smoothed.x - next.predicted.x);
    const Square covariance =
        now.corrected.covariance + gain * (next_smoothed.covariance - next.predicted.covariance) * gain.transpose();
    out.covariance = 0.5 * (covariance + covariance.transpose());
    return out;
}

/// All steps, by their places. `go_on` is asked with how many are done; when it says no, the result is empty.
template <int N>
[[nodiscard]] std::vector<KalmanState<N>> smoothed(std::span<const ForwardStep<N>> steps, const auto& go_on) {
    std::vector<KalmanState<N>> out(steps.size());
    if (steps.empty()) return out;
    out.back() = steps.back().corrected;
    for (std::size_t k = steps.size() - 1; k-- > 0;) {
        if (!go_on(steps.size() - 1 - k)) return {};
        out[k] = smoothed_before<N>(steps[k], steps[k + 1], out[k + 1]);
    }
    return out;
}

} // namespace turnstone::estimate
