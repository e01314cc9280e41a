#pragma once
/// Parameters from many values, with what they may be trusted for.
///
/// Linear: b = (X'X)^-1 X'y, s^2 = r'r / (n - k), 95 % by Student's t (V. Klein, E. A. Morelli, Aircraft System
/// Identification, AIAA 2006, ch. 5). Other models: Levenberg's and Marquardt's steps with derivatives by differences;
/// J at the end stands for X (the same, ch. 6). Checked against statsmodels and scipy,
/// tests/reference/numerics/sysid.json.
#include <functional>

#include <Eigen/Core>

namespace turnstone::analysis {

struct Fit {
    Eigen::VectorXd estimate;
    Eigen::MatrixXd covariance; ///< of the estimate, for residuals that are white; empty when it cannot be had
    Eigen::VectorXd residuals;
    Eigen::MatrixXd slopes; ///< of the residuals' model with the parameters: X, or J
    double residual_sd;     ///< NaN with no more values than parameters
    double condition; ///< ratio of the singular values of `slopes` with columns of unit length; infinity: a column of
                      ///< zeros
    bool converged;

    [[nodiscard]] double sigma(Eigen::Index i) const { return std::sqrt(covariance(i, i)); }
    /// Of Student's t, two-sided 95 %.
    [[nodiscard]] double quantile() const;
};

[[nodiscard]] Fit linear_fit(const Eigen::MatrixXd& x, const Eigen::VectorXd& y);

/// `residuals(parameters)` is data minus model, always of one length. `scale`: how much of each parameter matters.
using Residuals = std::function<Eigen::VectorXd(const Eigen::VectorXd&)>;
[[nodiscard]] Fit fit_model(const Residuals& residuals, const Eigen::VectorXd& start, const Eigen::VectorXd& scale,
                            int steps_max = 60);

/// Covariance when residuals resemble their neighbours or scatter unevenly, with Bartlett's weights (W. K. Newey, K. D.
/// West, Econometrica 55, 1987).
[[nodiscard]] Eigen::MatrixXd robust_covariance(const Fit& fit, Eigen::Index lags);

} // namespace turnstone::analysis
