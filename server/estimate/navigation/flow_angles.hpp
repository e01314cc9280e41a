#pragma once
/// How the air meets the vehicle: angle of attack, sideslip, the total angle between nose and flow, and the load q
/// alpha, each with its 1-sigma.
///
/// With the velocity against the air in body axes u: angle of attack atan2(u_z, u_x), sideslip asin(u_y / |u|), total
/// angle atan2(|u_yz|, u_x) (body axes x forward; the definitions of ISO 1151-1, from memory). First-order propagation
/// of the joint covariance of velocity and attitude and of the wind's; the total angle of two components that are each
/// unsure is never below what their sigmas allow: near zero its own derivative says nothing, so its 1-sigma is that of
/// a component.
#include "server/estimate/navigation/navigation.hpp"

namespace turnstone::estimate {

/// NaN where nothing is known.
struct FlowAngles {
    double angle_of_attack_rad = kNaN, angle_of_attack_sigma_rad = kNaN;
    double sideslip_rad = kNaN, sideslip_sigma_rad = kNaN;
    double total_rad = kNaN, total_sigma_rad = kNaN;
    double dynamic_pressure_pa = kNaN;
    double load_pa_rad = kNaN, load_sigma_pa_rad = kNaN; ///< dynamic pressure times total angle
};

/// `against_air_mps`: velocity of the vehicle less that of the air, ENU; `wind_sigma_mps`: of each horizontal component
/// of the wind. Below `kFlowUsable_mps` the angles are unknown.
inline constexpr double kFlowUsable_mps = 5.0;
[[nodiscard]] FlowAngles flow_angles(const Eigen::Quaterniond& q_local_body, const Eskf::Covariance& covariance,
                                     const Eigen::Vector3d& against_air_mps, double wind_sigma_mps,
                                     double density_kg_m3);

} // namespace turnstone::estimate
