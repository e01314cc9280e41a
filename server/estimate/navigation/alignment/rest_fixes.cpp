#include "server/estimate/navigation/alignment/rest_fixes.hpp"

#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kAnywhere_m = 1e4;
using Row = Eigen::Matrix<double, 1, 3>;
using Scalar = Eigen::Matrix<double, 1, 1>;

void correct_axis(RestFixes::Axis& axis, double measured_m, const Row& observation, double variance_m2) {
    const auto innovation = kalman_innovation<3, 1>(axis, Scalar(measured_m), observation, Scalar(variance_m2));
    kalman_correct<3, 1>(axis, innovation, observation, Scalar(variance_m2));
}

} // namespace

RestFixes::RestFixes(const SensorNoise& sensors)
    : correlation_s_(sensors.fix_correlation_s), correlated_share_(sensors.fix_correlated_share),
      datum_sigma_m_(sensors.pad_datum_sigma_m) {}

void RestFixes::clear() {
    known_ = false;
}

void RestFixes::land(const EskfNominal& nominal, const Eskf::Covariance& covariance, std::int64_t t_ns) {
    for (int k = 0; k < 3; ++k) {
        Axis& axis = axes_.at(static_cast<std::size_t>(k));
        const std::array<int, 3> state{Eskf::kPosition + k, Eskf::kDatum, Eskf::kFixBias + k};
        axis.x << nominal.position_enu_m(k), nominal.datum_m, nominal.fix_bias_m(k);
        for (int row = 0; row < 3; ++row)
            for (int column = 0; column < 3; ++column)
                axis.covariance(row, column) = covariance(state[row], state[column]);
        if (k == 2) continue;
        axis.x(kDatum) = 0;
        axis.covariance.row(kDatum).setZero();
        axis.covariance.col(kDatum).setZero();
    }
    t_ns_ = t_ns;
    known_ = true;
}

void RestFixes::carried(double sigma_m) {
    for (Axis& axis : axes_) axis.covariance(kPlace, kPlace) += sigma_m * sigma_m;
}

void RestFixes::fix(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m) {
    const double kept = known_ ? std::exp(-std::abs(seconds_between(t_ns_, t_ns)) / correlation_s_) : 0;
    for (int k = 0; k < 3; ++k) {
        Axis& axis = axes_.at(static_cast<std::size_t>(k));
        const double variance_m2 = sigma_m(k) * sigma_m(k);
        if (!known_) {
            const double datum_m = k == 2 ? datum_sigma_m_ : 0;
            axis.x.setZero();
            axis.covariance = Eigen::Vector3d(kAnywhere_m * kAnywhere_m, datum_m * datum_m, 0).asDiagonal();
        }
        const Eigen::Matrix3d transition = Eigen::Vector3d(1, 1, kept).asDiagonal();
        const Eigen::Matrix3d wander =
            Eigen::Vector3d(0, 0, correlated_share_ * variance_m2 * (1 - kept * kept)).asDiagonal();
        kalman_predict<3>(axis, transition, wander);
        correct_axis(axis, position_enu_m(k), Row(1, k == 2 ? 1 : 0, 1), (1 - correlated_share_) * variance_m2 + 1e-4);
    }
    t_ns_ = t_ns;
    known_ = true;
}

Eigen::Vector3d RestFixes::place_enu_m() const {
    return {axes_[0].x(kPlace), axes_[1].x(kPlace), axes_[2].x(kPlace)};
}

RestFixes::Axis RestFixes::at_zero(Axis axis, double sigma_m) {
    correct_axis(axis, 0, Row(1, 0, 0), sigma_m * sigma_m);
    return axis;
}

} // namespace turnstone::estimate
