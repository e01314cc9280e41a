#include "server/estimate/navigation/eskf.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

Eskf::Eskf(const EskfNoise& noise, double gravity_mps2) : noise_(noise), gravity_mps2_(gravity_mps2) {}

void Eskf::reset(const EskfNominal& nominal, const Covariance& covariance) {
    nominal_ = nominal;
    nominal_.q_local_body.normalize();
    covariance_ = covariance;
    has_previous_ = false;
}

EskfNominal Eskf::propagate(const EskfNominal& from, const Vector3d& accel_body_mps2, const Vector3d& rate_body_radps,
                            double dt_s, double gravity_mps2, const Vector3d& coning_rad,
                            const Vector3d& sculling_mps) {
    const Vector3d angle = (rate_body_radps - from.gyro_bias_radps) * dt_s;
    const Vector3d velocity = (accel_body_mps2 - from.accel_bias_mps2) * dt_s;
    EskfNominal to = from;
    // The half cross product turns the body increment into the axes at the interval's start (rotation correction).
    const Vector3d increment = velocity + 0.5 * angle.cross(velocity) + sculling_mps;
    to.velocity_enu_mps += from.q_local_body * increment - Vector3d(0, 0, gravity_mps2 * dt_s);
    to.position_enu_m += 0.5 * (from.velocity_enu_mps + to.velocity_enu_mps) * dt_s;
    to.q_local_body = (from.q_local_body * quaternion_from_rotation_vector(angle + coning_rad)).normalized();
    return to;
}

Eskf::Covariance Eskf::transition(const EskfNominal& from, const Vector3d& accel_body_mps2,
                                  const Vector3d& rate_body_radps, double dt_s) {
    const Vector3d angle = (rate_body_radps - from.gyro_bias_radps) * dt_s;
    const Vector3d force = accel_body_mps2 - from.accel_bias_mps2;
    const Matrix3d rotation = from.q_local_body.toRotationMatrix();
    // Derivatives of propagate(): the force increment is rotated by (I + skew(angle)/2).
    const Matrix3d turned = rotation * (Matrix3d::Identity() + 0.5 * skew(angle));
    const Vector3d increment = force * dt_s + 0.5 * angle.cross(force * dt_s);
    Covariance f = Covariance::Identity();
    f.block<3, 3>(kVelocity, kAttitude) = -rotation * skew(increment);
    f.block<3, 3>(kVelocity, kAccelBias) = -turned * dt_s;
    f.block<3, 3>(kVelocity, kGyroBias) = 0.5 * rotation * skew(force) * dt_s * dt_s;
    f.block<3, 3>(kPosition, kVelocity) = Matrix3d::Identity() * dt_s;
    f.block<3, 9>(kPosition, kAttitude) = 0.5 * dt_s * f.block<3, 9>(kVelocity, kAttitude);
    f.block<3, 3>(kAttitude, kAttitude) = quaternion_from_rotation_vector(-angle).toRotationMatrix();
    // Right Jacobian of the exponential (Sola eq. 183); its series where the closed form would divide by nearly
    // nothing.
    const double length = angle.norm();
    const bool tiny = length < 1e-3;
    const double first = tiny ? 0.5 - length * length / 24 : (1 - std::cos(length)) / (length * length);
    const double second =
        tiny ? 1.0 / 6 - length * length / 120 : (length - std::sin(length)) / (length * length * length);
    f.block<3, 3>(kAttitude, kGyroBias) =
        -dt_s * (Matrix3d::Identity() - first * skew(angle) + second * skew(angle) * skew(angle));
    return f;
}

void Eskf::predict(const Vector3d& accel_body_mps2, const Vector3d& rate_body_radps, double dt_s,
                   double accel_inflation, double gyro_inflation) {
    const Vector3d angle = (rate_body_radps - nominal_.gyro_bias_radps) * dt_s;
    const Vector3d velocity = (accel_body_mps2 - nominal_.accel_bias_mps2) * dt_s;
    Vector3d coning = Vector3d::Zero();
    Vector3d sculling = Vector3d::Zero();
    if (has_previous_) {
        coning = previous_angle_rad_.cross(angle) / 12;
        sculling = (previous_angle_rad_.cross(velocity) + previous_velocity_mps_.cross(angle)) / 12;
    }
    previous_angle_rad_ = angle;
    previous_velocity_mps_ = velocity;
    has_previous_ = true;

    const Covariance f = transition(nominal_, accel_body_mps2, rate_body_radps, dt_s);
    nominal_ = propagate(nominal_, accel_body_mps2, rate_body_radps, dt_s, gravity_mps2_, coning, sculling);

    propagate_covariance(f);
    // White noise of the sample enters velocity rotated, and rotation leaves isotropic noise as it is.
    const auto square = [](double x) { return x * x; };
    const double velocity_variance = square(noise_.accel_density_mps2_rthz * accel_inflation) * dt_s;
    const double angle_variance = square(noise_.gyro_density_radps_rthz * gyro_inflation) * dt_s;
    const double accel_walk = square(noise_.accel_bias_walk_mps2_rts) * dt_s;
    const double gyro_walk = square(noise_.gyro_bias_walk_radps_rts) * dt_s;
    for (int axis = 0; axis < 3; ++axis) {
        covariance_(kPosition + axis, kPosition + axis) += 0.25 * velocity_variance * dt_s * dt_s;
        covariance_(kPosition + axis, kVelocity + axis) += 0.5 * velocity_variance * dt_s;
        covariance_(kVelocity + axis, kPosition + axis) += 0.5 * velocity_variance * dt_s;
        covariance_(kVelocity + axis, kVelocity + axis) += velocity_variance;
        covariance_(kAttitude + axis, kAttitude + axis) += angle_variance;
        covariance_(kAccelBias + axis, kAccelBias + axis) += accel_walk;
        covariance_(kGyroBias + axis, kGyroBias + axis) += gyro_walk;
    }
    covariance_ = (0.5 * (covariance_ + covariance_.transpose())).eval();
}

/// F P F' without the zeros and ones of F: what is left of transition() is three rows for the velocity's change, of
/// which the position takes half a step's worth, and two blocks for the attitude.
void Eskf::propagate_covariance(const Covariance& f) {
    const double dt_s = f(kPosition, kVelocity);
    const Eigen::Matrix<double, 3, 9> change = f.block<3, 9>(kVelocity, kAttitude);
    const Matrix3d turn = f.block<3, 3>(kAttitude, kAttitude);
    const Matrix3d gyro = f.block<3, 3>(kAttitude, kGyroBias);
    Covariance& p = covariance_;
    {
        const Rows faster = change.lazyProduct(p.bottomRows<9>());
        const Rows turned = turn.lazyProduct(p.middleRows<3>(kAttitude)) + gyro.lazyProduct(p.middleRows<3>(kGyroBias));
        p.middleRows<3>(kPosition) += dt_s * p.middleRows<3>(kVelocity) + 0.5 * dt_s * faster;
        p.middleRows<3>(kVelocity) += faster;
        p.middleRows<3>(kAttitude) = turned;
    }
    const Columns faster = p.rightCols<9>().lazyProduct(change.transpose());
    const Columns turned = p.middleCols<3>(kAttitude).lazyProduct(turn.transpose()) +
                           p.middleCols<3>(kGyroBias).lazyProduct(gyro.transpose());
    p.middleCols<3>(kPosition) += dt_s * p.middleCols<3>(kVelocity) + 0.5 * dt_s * faster;
    p.middleCols<3>(kVelocity) += faster;
    p.middleCols<3>(kAttitude) = turned;
}

template <int M>
Eigen::Matrix<double, M, M> Eskf::innovation_covariance(const Observation<M>& observation,
                                                        const Eigen::Matrix<double, M, M>& noise) const {
    const Eigen::Matrix<double, kSize, M> ph = covariance_.lazyProduct(observation.transpose());
    return observation.lazyProduct(ph) + noise;
}

template <int M>
double Eskf::nis(const Eigen::Matrix<double, M, 1>& innovation, const Observation<M>& observation,
                 const Eigen::Matrix<double, M, M>& noise) const {
    return innovation.dot(innovation_covariance<M>(observation, noise).ldlt().solve(innovation));
}

template <int M>
void Eskf::correct(const Eigen::Matrix<double, M, 1>& innovation, const Observation<M>& observation,
                   const Eigen::Matrix<double, M, M>& noise) {
    const Eigen::Matrix<double, kSize, M> ph = covariance_.lazyProduct(observation.transpose());
    const Eigen::Matrix<double, M, M> s = observation.lazyProduct(ph) + noise;
    const Eigen::Matrix<double, kSize, M> gain = s.ldlt().solve(ph.transpose()).transpose();
    // Joseph form, (I - K H) P (I - K H)' + K R K', from the left and then from the right, without products of two
    // whole matrices.
    covariance_ -= gain.lazyProduct(ph.transpose());
    const Eigen::Matrix<double, kSize, M> rest =
        gain.lazyProduct(noise) - covariance_.lazyProduct(observation.transpose());
    covariance_ += rest.lazyProduct(gain.transpose());
    inject(gain * innovation);
}

void Eskf::inject(const ErrorVector& error) {
    nominal_ = plus(nominal_, error);
    // After injection the error is taken about the new attitude: Sola eq. 287.
    const Matrix3d reset = Matrix3d::Identity() - 0.5 * skew(error.segment<3>(kAttitude));
    const Rows rows = reset.lazyProduct(covariance_.middleRows<3>(kAttitude));
    covariance_.middleRows<3>(kAttitude) = rows;
    const Columns columns = covariance_.middleCols<3>(kAttitude).lazyProduct(reset.transpose());
    covariance_.middleCols<3>(kAttitude) = columns;
    covariance_ = (0.5 * (covariance_ + covariance_.transpose())).eval();
}

void Eskf::inflate(Part part, double sigma_added) {
    for (int axis = 0; axis < 3; ++axis) covariance_(part + axis, part + axis) += sigma_added * sigma_added;
}

Eskf::ErrorVector Eskf::error_of(const EskfNominal& estimate, const EskfNominal& truth) {
    ErrorVector error;
    error << truth.position_enu_m - estimate.position_enu_m, truth.velocity_enu_mps - estimate.velocity_enu_mps,
        rotation_vector_from_quaternion(estimate.q_local_body.conjugate() * truth.q_local_body),
        truth.accel_bias_mps2 - estimate.accel_bias_mps2, truth.gyro_bias_radps - estimate.gyro_bias_radps;
    return error;
}

EskfNominal Eskf::plus(const EskfNominal& estimate, const ErrorVector& error) {
    EskfNominal to = estimate;
    to.position_enu_m += error.segment<3>(kPosition);
    to.velocity_enu_mps += error.segment<3>(kVelocity);
    to.q_local_body =
        (estimate.q_local_body * quaternion_from_rotation_vector(error.segment<3>(kAttitude))).normalized();
    to.accel_bias_mps2 += error.segment<3>(kAccelBias);
    to.gyro_bias_radps += error.segment<3>(kGyroBias);
    return to;
}

template Eigen::Matrix<double, 3, 3> Eskf::innovation_covariance<3>(const Observation<3>&,
                                                                    const Eigen::Matrix<double, 3, 3>&) const;
template Eigen::Matrix<double, 6, 6> Eskf::innovation_covariance<6>(const Observation<6>&,
                                                                    const Eigen::Matrix<double, 6, 6>&) const;
template double Eskf::nis<3>(const Eigen::Matrix<double, 3, 1>&, const Observation<3>&,
                             const Eigen::Matrix<double, 3, 3>&) const;
template void Eskf::correct<1>(const Eigen::Matrix<double, 1, 1>&, const Observation<1>&,
                               const Eigen::Matrix<double, 1, 1>&);
template void Eskf::correct<3>(const Eigen::Matrix<double, 3, 1>&, const Observation<3>&,
                               const Eigen::Matrix<double, 3, 3>&);
template void Eskf::correct<6>(const Eigen::Matrix<double, 6, 1>&, const Observation<6>&,
                               const Eigen::Matrix<double, 6, 6>&);

} // namespace turnstone::estimate
