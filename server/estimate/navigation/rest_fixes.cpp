#include "server/estimate/navigation/rest_fixes.hpp"

#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kAnywhere_m = 1e4;

} // namespace

RestFixes::RestFixes(const SensorNoise& sensors)
    : correlation_s_(sensors.fix_correlation_s), correlated_share_(sensors.fix_correlated_share) {}

void RestFixes::clear() {
    count_ = 0;
}

void RestFixes::fix(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m) {
    const double kept = count_ == 0 ? 0 : std::exp(-std::abs(seconds_between(t_ns_, t_ns)) / correlation_s_);
    for (int k = 0; k < 3; ++k) {
        Axis& axis = axes_[k];
        if (count_ == 0) {
            axis.x.setZero();
            axis.covariance = Eigen::Vector2d(kAnywhere_m * kAnywhere_m, 0).asDiagonal();
        }
        const double variance_m2 = sigma_m(k) * sigma_m(k);
        const Eigen::Matrix2d transition = Eigen::Vector2d(1, kept).asDiagonal();
        const Eigen::Matrix2d wander =
            Eigen::Vector2d(0, correlated_share_ * variance_m2 * (1 - kept * kept)).asDiagonal();
        kalman_predict<2>(axis, transition, wander);
        const Eigen::Matrix<double, 1, 2> both = Eigen::Matrix<double, 1, 2>::Ones();
        const Eigen::Matrix<double, 1, 1> noise((1 - correlated_share_) * variance_m2 + 1e-4);
        const auto innovation =
            kalman_innovation<2, 1>(axis, Eigen::Matrix<double, 1, 1>(position_enu_m(k)), both, noise);
        kalman_correct<2, 1>(axis, innovation, both, noise);
    }
    t_ns_ = t_ns;
    ++count_;
}

Eigen::Vector3d RestFixes::place_enu_m() const {
    return {axes_[0].x(0), axes_[1].x(0), axes_[2].x(0)};
}

} // namespace turnstone::estimate
