#pragma once
/// Rotations as estimators use them: Hamilton quaternions, scalar first, body to local.
///
/// Source: J. Sola, "Quaternion kinematics for the error-state Kalman filter", arXiv:1711.02508 (2017): eqs. 101
/// (exponential), 103 (logarithm), 115 (rotation matrix). The simulator has its own rotation code on purpose.
#include <cmath>

#include <Eigen/Core>
#include <Eigen/Geometry>

namespace turnstone::estimate {

/// skew(a) b = a x b
[[nodiscard]] inline Eigen::Matrix3d skew(const Eigen::Vector3d& a) {
    Eigen::Matrix3d m;
    m << 0, -a.z(), a.y(), a.z(), 0, -a.x(), -a.y(), a.x(), 0;
    return m;
}

/// Rotation vector (rad) to unit quaternion. Exact to rounding for any length, zero included.
[[nodiscard]] inline Eigen::Quaterniond quaternion_from_rotation_vector(const Eigen::Vector3d& rotation_rad) {
    const double angle = rotation_rad.norm();
    // sin(a/2)/a divides by zero at zero; below 1e-4 two terms of its series are exact to rounding.
    const double scale = angle < 1e-4 ? 0.5 - angle * angle / 48 : std::sin(angle / 2) / angle;
    return {std::cos(angle / 2), scale * rotation_rad.x(), scale * rotation_rad.y(), scale * rotation_rad.z()};
}

/// J with exp(a + da) = exp(a) exp(J da) for small da (Sola eq. 183).
[[nodiscard]] inline Eigen::Matrix3d right_jacobian(const Eigen::Vector3d& rotation_rad) {
    const double angle2 = rotation_rad.squaredNorm(), angle = std::sqrt(angle2);
    // Below 1e-3 two terms of the series are exact to rounding, where the closed forms divide by nearly nothing.
    const bool tiny = angle < 1e-3;
    const double first = tiny ? 0.5 - angle2 / 24 : (1 - std::cos(angle)) / angle2;
    const double second = tiny ? 1.0 / 6 - angle2 / 120 : (angle - std::sin(angle)) / (angle2 * angle);
    const Eigen::Matrix3d across = skew(rotation_rad);
    return Eigen::Matrix3d::Identity() - first * across + second * across * across;
}

/// Unit quaternion to the shorter rotation vector, length in [0, pi]; q and -q give the same.
[[nodiscard]] inline Eigen::Vector3d rotation_vector_from_quaternion(const Eigen::Quaterniond& q) {
    const double sign = q.w() < 0 ? -1 : 1;
    const Eigen::Vector3d axis = sign * q.vec();
    const double sine = axis.norm();
    const double scale = sine < 1e-8 ? 2.0 : 2 * std::atan2(sine, sign * q.w()) / sine;
    return scale * axis;
}

/// The shortest rotation that takes the direction `from` to the direction `to` (any lengths but zero): q = [1 + cos,
/// axis sin], normalised; half a turn about some axis across when they are opposite. Eigen's FromTwoVectors does the
/// same through a singular value decomposition that costs half a minute of compilation in each file.
[[nodiscard]] inline Eigen::Quaterniond shortest_rotation(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
    const Eigen::Vector3d a = from.normalized(), b = to.normalized();
    const double one_and_cosine = 0.5 * (a + b).squaredNorm(); // exact where both are almost opposite
    if (one_and_cosine < 1e-24) {
        const Eigen::Vector3d across =
            a.cross(std::abs(a.x()) < 0.9 ? Eigen::Vector3d::UnitX() : Eigen::Vector3d::UnitY()).normalized();
        return {0, across.x(), across.y(), across.z()};
    }
    const Eigen::Vector3d axis = a.cross(b);
    return Eigen::Quaterniond(one_and_cosine, axis.x(), axis.y(), axis.z()).normalized();
}

} // namespace turnstone::estimate
