#include "server/estimate/smoothing/rts.hpp"

#include <cmath>

#include <Eigen/Eigenvalues>

namespace turnstone::estimate {

// Of any size: one decomposition is compiled instead of one for each filter.

Eigen::MatrixXd inverse_where_known(const Eigen::Ref<const Eigen::MatrixXd>& covariance, double least) {
    const Eigen::Index n = covariance.rows();
    Eigen::VectorXd scale(n), inverse(n);
    for (Eigen::Index i = 0; i < n; ++i) scale(i) = covariance(i, i) > 0 ? 1 / std::sqrt(covariance(i, i)) : 0.0;
    const Eigen::MatrixXd correlation = scale.asDiagonal() * covariance * scale.asDiagonal();
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(0.5 * (correlation + correlation.transpose()));
    for (Eigen::Index i = 0; i < n; ++i) inverse(i) = solver.eigenvalues()(i) > least ? 1 / solver.eigenvalues()(i) : 0;
    const Eigen::MatrixXd unscaled = solver.eigenvectors() * inverse.asDiagonal() * solver.eigenvectors().transpose();
    return scale.asDiagonal() * unscaled * scale.asDiagonal();
}

Eigen::MatrixXd smoothing_gain(const Eigen::Ref<const Eigen::MatrixXd>& covariance,
                               const Eigen::Ref<const Eigen::MatrixXd>& transition,
                               const Eigen::Ref<const Eigen::MatrixXd>& predicted) {
    return covariance * transition.transpose() * inverse_where_known(predicted);
}

} // namespace turnstone::estimate
