#include "server/estimate/navigation/flow_angles.hpp"

#include <algorithm>
#include <cmath>

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

FlowAngles flow_angles(const Eigen::Quaterniond& q_local_body, const Eskf::Covariance& covariance,
                       const Vector3d& against_air_mps, double wind_sigma_mps, double density_kg_m3) {
    FlowAngles out;
    const double speed_mps = against_air_mps.norm();
    if (!(speed_mps > kFlowUsable_mps)) return out;
    const Matrix3d to_body = q_local_body.toRotationMatrix().transpose();
    const Vector3d u = to_body * against_air_mps;
    const double across_mps = u.tail<2>().norm();
    out.angle_of_attack_rad = std::atan2(u.z(), u.x());
    out.sideslip_rad = std::asin(std::clamp(u.y() / speed_mps, -1.0, 1.0));
    out.total_rad = std::atan2(across_mps, u.x());

    // u = exp(-dtheta) R^T (v + dv - w): du = R^T (dv - dw) + u x dtheta.
    Eigen::Matrix<double, 3, 6> by_error;
    by_error << to_body, skew(u);
    Eigen::Matrix<double, 6, 6> p = covariance.block<6, 6>(Eskf::kVelocity, Eskf::kVelocity);
    p.diagonal().head<2>().array() += wind_sigma_mps * wind_sigma_mps;
    const Matrix3d flow = by_error * p * by_error.transpose();
    const auto sigma_of = [&](const Vector3d& slope) { return std::sqrt(std::max(0.0, slope.dot(flow * slope))); };
    const double in_plane2 = std::max(1e-12, u.x() * u.x() + u.z() * u.z());
    out.angle_of_attack_sigma_rad = sigma_of(Vector3d(-u.z(), 0, u.x()) / in_plane2);
    const double level = std::sqrt(in_plane2);
    out.sideslip_sigma_rad =
        sigma_of((Vector3d::UnitY() - u.y() / (speed_mps * speed_mps) * u) / std::max(level, 1e-6));
    const Vector3d outward =
        across_mps > 1e-6 ? Vector3d(0, u.y() / across_mps, u.z() / across_mps) : Vector3d::UnitY();
    out.total_sigma_rad = sigma_of((u.x() * outward - across_mps * Vector3d::UnitX()) / (speed_mps * speed_mps));
    out.dynamic_pressure_pa = 0.5 * density_kg_m3 * speed_mps * speed_mps;
    out.load_pa_rad = out.dynamic_pressure_pa * out.total_rad;
    // Both grow with the same flow: its derivative takes the two together.
    const Vector3d load_slope =
        out.dynamic_pressure_pa * (u.x() * outward - across_mps * Vector3d::UnitX()) / (speed_mps * speed_mps) +
        out.total_rad * density_kg_m3 * u;
    out.load_sigma_pa_rad = sigma_of(load_slope);
    return out;
}

} // namespace turnstone::estimate
