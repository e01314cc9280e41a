#include "server/analysis/identify/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <Eigen/SVD>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

namespace {

double scaled_condition(const Eigen::MatrixXd& x) {
    if (x.rows() < x.cols() || x.cols() == 0) return std::numeric_limits<double>::infinity();
    Eigen::MatrixXd scaled = x;
    for (Eigen::Index k = 0; k < x.cols(); ++k) {
        const double length = x.col(k).norm();
        if (!(length > 0)) return std::numeric_limits<double>::infinity();
        scaled.col(k) /= length;
    }
    const Eigen::VectorXd values = scaled.jacobiSvd().singularValues();
    return values[values.size() - 1] > 0 ? values[0] / values[values.size() - 1]
                                         : std::numeric_limits<double>::infinity();
}

/// What follows from slopes and residuals at the estimate.
void complete(Fit& fit) {
    const auto n = fit.residuals.size(), k = fit.estimate.size();
    fit.condition = scaled_condition(fit.slopes);
    fit.residual_sd = std::numeric_limits<double>::quiet_NaN();
    if (n <= k || !std::isfinite(fit.condition)) return;
    fit.residual_sd = std::sqrt(fit.residuals.squaredNorm() / static_cast<double>(n - k));
    // Columns of unit length first, so that units do not decide what can be inverted.
    const Eigen::VectorXd lengths = fit.slopes.colwise().norm();
    const Eigen::MatrixXd scaled = fit.slopes * lengths.cwiseInverse().asDiagonal();
    const Eigen::MatrixXd inverse = (scaled.transpose() * scaled).ldlt().solve(Eigen::MatrixXd::Identity(k, k));
    fit.covariance = fit.residual_sd * fit.residual_sd *
                     (lengths.cwiseInverse().asDiagonal() * inverse * lengths.cwiseInverse().asDiagonal());
}

Eigen::MatrixXd slopes_of(const Residuals& residuals, const Eigen::VectorXd& at, const Eigen::VectorXd& scale) {
    Eigen::MatrixXd out;
    for (Eigen::Index k = 0; k < at.size(); ++k) {
        const double step = 1e-4 * scale[k];
        Eigen::VectorXd above = at, below = at;
        above[k] += step;
        below[k] -= step;
        const Eigen::VectorXd slope = (residuals(below) - residuals(above)) / (2 * step);
        if (k == 0) out.resize(slope.size(), at.size());
        out.col(k) = slope;
    }
    return out;
}

} // namespace

double Fit::quantile() const {
    const auto freedom = static_cast<double>(residuals.size() - estimate.size());
    return freedom > 0 ? boost::math::quantile(StudentsT(freedom), 0.975) : std::numeric_limits<double>::quiet_NaN();
}

Fit linear_fit(const Eigen::MatrixXd& x, const Eigen::VectorXd& y) {
    Fit fit{};
    fit.slopes = x;
    fit.estimate = x.colPivHouseholderQr().solve(y);
    fit.residuals = y - x * fit.estimate;
    fit.converged = true;
    complete(fit);
    return fit;
}

Fit fit_model(const Residuals& residuals, const Eigen::VectorXd& start, const Eigen::VectorXd& scale, int steps_max) {
    Fit fit{};
    fit.estimate = start;
    fit.residuals = residuals(start);
    double damping = 1e-3;
    for (int step = 0; step < steps_max && !fit.converged; ++step) {
        fit.slopes = slopes_of(residuals, fit.estimate, scale);
        const Eigen::MatrixXd scaled = fit.slopes * scale.asDiagonal();
        const Eigen::MatrixXd square = scaled.transpose() * scaled;
        const Eigen::VectorXd towards = scaled.transpose() * fit.residuals;
        const double before = fit.residuals.squaredNorm();
        bool better = false;
        while (!better && damping < 1e10) {
            Eigen::MatrixXd damped = square;
            damped.diagonal() += damping * square.diagonal() + Eigen::VectorXd::Constant(scale.size(), 1e-300);
            const Eigen::VectorXd move = damped.ldlt().solve(towards);
            const Eigen::VectorXd next = fit.estimate + scale.cwiseProduct(move);
            const Eigen::VectorXd at_next = residuals(next);
            const double after = at_next.squaredNorm();
            better = std::isfinite(after) && after <= before;
            if (!better) {
                damping *= 8;
                continue;
            }
            fit.converged = move.cwiseAbs().maxCoeff() < 1e-9 || before - after < 1e-13 * before;
            fit.estimate = next;
            fit.residuals = at_next;
            damping = std::max(damping / 10, 1e-12);
        }
        if (!better) break; // no way leads down: as low as rounding lets it
    }
    fit.slopes = slopes_of(residuals, fit.estimate, scale);
    complete(fit);
    return fit;
}

Eigen::MatrixXd robust_covariance(const Fit& fit, Eigen::Index lags) {
    const Eigen::MatrixXd score = fit.residuals.asDiagonal() * fit.slopes;
    const auto n = score.rows();
    Eigen::MatrixXd middle = score.transpose() * score;
    for (Eigen::Index lag = 1; lag <= std::min(lags, n - 1); ++lag) {
        const Eigen::MatrixXd apart = score.bottomRows(n - lag).transpose() * score.topRows(n - lag);
        middle += (1 - static_cast<double>(lag) / static_cast<double>(lags + 1)) * (apart + apart.transpose());
    }
    const Eigen::MatrixXd inverse = fit.covariance / (fit.residual_sd * fit.residual_sd);
    return inverse * middle * inverse;
}

} // namespace turnstone::analysis
