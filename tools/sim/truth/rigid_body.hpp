#pragma once
/// Rigid body with six degrees of freedom: Newton and Euler equations, quaternion kinematics, classical
/// Runge-Kutta. Source: H. Goldstein, C. Poole, J. Safko, Classical Mechanics, 3rd ed., ch. 4 and 5.
/// Principal axes are the body axes; the centre of mass is fixed in the body; the term from changing inertia
/// is left out (it is below 1 % of the pitch damping for a motor of a tenth of the mass).
#include <Eigen/Core>
#include <Eigen/Geometry>

namespace turnstone::sim {

/// Local frame: east, north, up at the pad. Body: x forward along the long axis.
struct BodyState {
    Eigen::Vector3d position_enu_m = Eigen::Vector3d::Zero();
    Eigen::Vector3d velocity_enu_mps = Eigen::Vector3d::Zero();
    Eigen::Quaterniond q_local_body = Eigen::Quaterniond::Identity(); ///< Hamilton, body to local
    Eigen::Vector3d rate_body_radps = Eigen::Vector3d::Zero();
    double propellant_kg = 0.0;
};

struct BodyRate {
    Eigen::Vector3d velocity_enu_mps;
    Eigen::Vector3d accel_enu_mps2;
    Eigen::Vector4d q_dot; ///< w, x, y, z
    Eigen::Vector3d rate_dot_body_radps2;
    double propellant_kgps;
    Eigen::Vector3d specific_force_body_mps2; ///< what an ideal accelerometer at the centre of mass reads
};

/// The least turn that takes the direction of `from` to that of `to`, from half-angle vectors: the unit vector half-way
/// between both gives cos and sin of half the angle. They must not be opposite.
inline Eigen::Quaterniond turn_between(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
    const Eigen::Vector3d start = from.normalized();
    const Eigen::Vector3d halfway = (start + to.normalized()).normalized();
    const Eigen::Vector3d axis = start.cross(halfway);
    return {start.dot(halfway), axis.x(), axis.y(), axis.z()};
}

/// q' = q (x) [0, w] / 2, as w, x, y, z.
inline Eigen::Vector4d quaternion_rate(const Eigen::Quaterniond& q, const Eigen::Vector3d& w) {
    return {
        0.5 * (-q.x() * w.x() - q.y() * w.y() - q.z() * w.z()), 0.5 * (q.w() * w.x() + q.y() * w.z() - q.z() * w.y()),
        0.5 * (q.w() * w.y() + q.z() * w.x() - q.x() * w.z()), 0.5 * (q.w() * w.z() + q.x() * w.y() - q.y() * w.x())};
}

/// I w' = M - w x (I w), principal axes.
inline Eigen::Vector3d euler_rate(const Eigen::Vector3d& inertia_kg_m2, const Eigen::Vector3d& w,
                                  const Eigen::Vector3d& torque_body_nm) {
    const Eigen::Vector3d momentum = inertia_kg_m2.cwiseProduct(w);
    return (torque_body_nm - w.cross(momentum)).cwiseQuotient(inertia_kg_m2);
}

/// The state after `dt_s` along a constant `rate`. The quaternion is left unnormalised: stages need it so.
inline BodyState moved(const BodyState& s, const BodyRate& rate, double dt_s) {
    BodyState out;
    out.position_enu_m = s.position_enu_m + dt_s * rate.velocity_enu_mps;
    out.velocity_enu_mps = s.velocity_enu_mps + dt_s * rate.accel_enu_mps2;
    out.q_local_body =
        Eigen::Quaterniond(s.q_local_body.w() + dt_s * rate.q_dot[0], s.q_local_body.x() + dt_s * rate.q_dot[1],
                           s.q_local_body.y() + dt_s * rate.q_dot[2], s.q_local_body.z() + dt_s * rate.q_dot[3]);
    out.rate_body_radps = s.rate_body_radps + dt_s * rate.rate_dot_body_radps2;
    out.propellant_kg = s.propellant_kg + dt_s * rate.propellant_kgps;
    return out;
}

/// One fourth-order Runge-Kutta step of `rate_of(t_s, state) -> BodyRate`; the quaternion comes back with
/// unit norm. `mid_specific_force_mps2` receives the specific force at mid-step: the mean over the step to
/// second order.
template <class RateOf>
BodyState rk4_step(const BodyState& s, double t_s, double dt_s, const RateOf& rate_of,
                   Eigen::Vector3d& mid_specific_force_mps2) {
    const BodyRate k1 = rate_of(t_s, s);
    const BodyRate k2 = rate_of(t_s + 0.5 * dt_s, moved(s, k1, 0.5 * dt_s));
    const BodyRate k3 = rate_of(t_s + 0.5 * dt_s, moved(s, k2, 0.5 * dt_s));
    const BodyRate k4 = rate_of(t_s + dt_s, moved(s, k3, dt_s));
    BodyRate mean;
    mean.velocity_enu_mps =
        (k1.velocity_enu_mps + 2.0 * (k2.velocity_enu_mps + k3.velocity_enu_mps) + k4.velocity_enu_mps) / 6.0;
    mean.accel_enu_mps2 = (k1.accel_enu_mps2 + 2.0 * (k2.accel_enu_mps2 + k3.accel_enu_mps2) + k4.accel_enu_mps2) / 6.0;
    mean.q_dot = (k1.q_dot + 2.0 * (k2.q_dot + k3.q_dot) + k4.q_dot) / 6.0;
    mean.rate_dot_body_radps2 = (k1.rate_dot_body_radps2 + 2.0 * (k2.rate_dot_body_radps2 + k3.rate_dot_body_radps2) +
                                 k4.rate_dot_body_radps2) /
                                6.0;
    mean.propellant_kgps =
        (k1.propellant_kgps + 2.0 * (k2.propellant_kgps + k3.propellant_kgps) + k4.propellant_kgps) / 6.0;
    BodyState out = moved(s, mean, dt_s);
    out.q_local_body.normalize();
    mid_specific_force_mps2 = 0.5 * (k2.specific_force_body_mps2 + k3.specific_force_body_mps2);
    return out;
}

} // namespace turnstone::sim
