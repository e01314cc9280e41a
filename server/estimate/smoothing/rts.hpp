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

#include <Eigen/Core>

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

/// The inverse of a covariance (n x n) on the directions that have a variance: eigenvalues of the correlation matrix
/// below `least` are taken for none.
[[nodiscard]] Eigen::MatrixXd inverse_where_known(const Eigen::Ref<const Eigen::MatrixXd>& covariance,
                                                  double least = 1e-12);

/// The gain of a step back, n x n: covariance now, the transition to the next step and the prediction's covariance
/// there.
[[nodiscard]] Eigen::MatrixXd smoothing_gain(const Eigen::Ref<const Eigen::MatrixXd>& covariance,
                                             const Eigen::Ref<const Eigen::MatrixXd>& transition,
                                             const Eigen::Ref<const Eigen::MatrixXd>& predicted);

/// The state of `now` given the smoothed one of `next`.
template <int N>
[[nodiscard]] KalmanState<N> smoothed_before(const ForwardStep<N>& now, const ForwardStep<N>& next,
                                             const KalmanState<N>& next_smoothed) {
    const Eigen::Matrix<double, N, N> gain =
        smoothing_gain(now.corrected.covariance, next.transition, next.predicted.covariance);
    KalmanState<N> out;
    out.x = now.corrected.x + gain * (next_smoothed.x - next.predicted.x);
    const Eigen::Matrix<double, N, N> covariance =
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
