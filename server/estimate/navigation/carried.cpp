#include "server/estimate/navigation/carried.hpp"

#include <cmath>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kNoseWander_radps = 0.1;

} // namespace

Manoeuvre manoeuvre_of(Motion motion) {
    switch (motion) {
    case Motion::boost: return {Vector3d::Zero(), {15, 15, 60}, Vector3d::Constant(1)};
    case Motion::coast: return {{0, 0, -kGravityStandard_mps2}, Vector3d::Constant(8), Vector3d::Constant(3)};
    case Motion::descent: return {Vector3d::Zero(), Vector3d::Constant(5), Vector3d::Constant(1)};
    case Motion::rest: return {.may_begin = true};
    case Motion::moving: break;
    }
    return {};
}

CarriedNavigation carried_to(std::int64_t t_ns, const Navigation& navigation, const Manoeuvre& manoeuvre) {
    const Eskf::Covariance whole = navigation.covariance();
    CarriedNavigation out{navigation.estimate(whole), whole.topLeftCorner<6, 6>()};
    NavigationEstimate& e = out.estimate;
    const double later_s = seconds_between(e.t_ns, t_ns);
    e.t_ns = t_ns;
    e.position_enu_m += later_s * e.velocity_enu_mps + 0.5 * later_s * later_s * manoeuvre.mean_mps2;
    e.velocity_enu_mps += later_s * manoeuvre.mean_mps2;

    Eigen::Matrix<double, 6, 6> transition = Eigen::Matrix<double, 6, 6>::Identity();
    transition.topRightCorner<3, 3>().diagonal().setConstant(later_s);
    Eigen::Matrix<double, 6, 3> by_acceleration;
    by_acceleration << 0.5 * later_s * later_s * Eigen::Matrix3d::Identity(), later_s * Eigen::Matrix3d::Identity();
    by_acceleration *= manoeuvre.sigma_mps2.asDiagonal();
    out.covariance =
        transition * out.covariance * transition.transpose() + by_acceleration * by_acceleration.transpose();
    e.position_sigma_m = out.covariance.diagonal().head<3>().cwiseMax(0.0).cwiseSqrt();
    e.velocity_sigma_mps = out.covariance.diagonal().tail<3>().cwiseMax(0.0).cwiseSqrt();

    // It turns on as it did, or has stopped.
    const double turned_rad = later_s * (e.rate_body_radps.norm() + kNoseWander_radps);
    e.attitude_sigma_rad = (e.attitude_sigma_rad.cwiseAbs2().array() + turned_rad * turned_rad).sqrt().matrix();
    e.tilt_sigma_rad = std::hypot(e.tilt_sigma_rad, turned_rad);
    return out;
}

VerticalEstimate carried_to(std::int64_t t_ns, const VerticalEstimate& vertical) {
    VerticalEstimate out = vertical;
    const double later_s = seconds_between(vertical.t_ns, t_ns), half_s2 = 0.5 * later_s * later_s;
    out.t_ns = t_ns;
    out.altitude_m += later_s * vertical.vertical_speed_mps + half_s2 * vertical.acceleration_mps2;
    out.vertical_speed_mps += later_s * vertical.acceleration_mps2;
    out.altitude_sigma_m = std::hypot(vertical.altitude_sigma_m, later_s * vertical.vertical_speed_sigma_mps,
                                      half_s2 * vertical.acceleration_sigma_mps2);
    out.vertical_speed_sigma_mps =
        std::hypot(vertical.vertical_speed_sigma_mps, later_s * vertical.acceleration_sigma_mps2);
    return out;
}

} // namespace turnstone::estimate
