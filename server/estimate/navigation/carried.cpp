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
    case Motion::boost: return kThrust;
    case Motion::coast: return {{0, 0, -kGravityStandard_mps2}, {2, 2, 8}, Vector3d::Constant(3)};
    case Motion::descent: return {Vector3d::Zero(), {1.5, 1.5, 4}, Vector3d::Constant(1)};
    case Motion::rest: return {.may_begin = true};
    case Motion::moving: break;
    }
    return {};
}

CarriedNavigation carried_to(std::int64_t t_ns, const Navigation& navigation, Motion motion) {
    const Eskf::Covariance whole = navigation.covariance();
    CarriedNavigation out{navigation.estimate(whole), whole.topLeftCorner<6, 6>()};
    NavigationEstimate& e = out.estimate;
    const double later_s = seconds_between(e.t_ns, t_ns);
    const Manoeuvre manoeuvre = manoeuvre_of(motion);
    const bool lasts = motion == Motion::boost || motion == Motion::coast;
    const Navigation::Acceleration felt = navigation.acceleration();
    e.t_ns = t_ns;

    Eigen::Matrix<double, 6, 6> transition = Eigen::Matrix<double, 6, 6>::Identity();
    transition.topRightCorner<3, 3>().diagonal().setConstant(later_s);
    out.covariance = transition * out.covariance * transition.transpose();
    e.position_enu_m += later_s * e.velocity_enu_mps;
    for (int axis = 0; axis < 3; ++axis) {
        const double mean_mps2 = manoeuvre.mean_mps2(axis), sigma_mps2 = manoeuvre.sigma_mps2(axis);
        double acceleration_mps2 = mean_mps2, acceleration_sigma_mps2 = sigma_mps2;
        // An acceleration for good, unless it is known to fade.
        Eigen::Vector3d by_acceleration{0.5 * later_s * later_s, later_s, 1}, by_mean = Vector3d::Zero();
        Eigen::Matrix3d noise = Eigen::Matrix3d::Zero();
        if (lasts) {
            const SingerStep step = singer_step(later_s, manoeuvre.tau_s(axis), sigma_mps2);
            by_acceleration = step.transition.col(2);
            by_mean = singer_mean(later_s, step);
            noise = step.noise;
            acceleration_mps2 = felt.enu_mps2(axis), acceleration_sigma_mps2 = felt.sigma_mps2;
        }
        e.position_enu_m(axis) += by_acceleration(0) * acceleration_mps2 + by_mean(0) * mean_mps2;
        e.velocity_enu_mps(axis) += by_acceleration(1) * acceleration_mps2 + by_mean(1) * mean_mps2;
        for (const int i : {0, 1})
            for (const int j : {0, 1})
                out.covariance(axis + 3 * i, axis + 3 * j) += noise(i, j) + by_acceleration(i) * by_acceleration(j) *
                                                                                acceleration_sigma_mps2 *
                                                                                acceleration_sigma_mps2;
    }
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
