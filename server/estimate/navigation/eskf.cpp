#include "server/estimate/navigation/eskf.hpp"

#include "server/estimate/math/kalman.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

Eskf::Eskf(const EskfNoise& noise, double gravity_mps2) : noise_(noise), gravity_mps2_(gravity_mps2) {}

void Eskf::reset(const EskfNominal& nominal, const Covariance& covariance) {
    nominal_ = nominal;
    nominal_.q_local_body.normalize();
    covariance_ = covariance;
    group_ = {};
    has_previous_ = false;
}

void Eskf::reset(const EskfNominal& nominal, const Covariance& covariance, const EskfNoise& noise) {
    noise_ = noise;
    reset(nominal, covariance);
}

void Eskf::reset_attitude(const Eigen::Quaterniond& q_local_body, const Vector3d& variance_rad2) {
    EskfNominal nominal = nominal_;
    nominal.q_local_body = q_local_body;
    Covariance p = covariance_;
    p.middleRows<3>(kAttitude).setZero();
    p.middleCols<3>(kAttitude).setZero();
    p.diagonal().segment<3>(kAttitude) = variance_rad2;
    reset(nominal, p);
    if (carried_) carried_->middleRows<3>(kAttitude).setZero();
}

void Eskf::carry_errors(bool on) {
    if (on)
        carried_ = Covariance::Identity();
    else
        carried_.reset();
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

void Eskf::Group::add(const EskfNominal& from, const Vector3d& accel_body_mps2, const Vector3d& rate_body_radps,
                      double sample_s) {
    const Vector3d angle = (rate_body_radps - from.gyro_bias_radps) * sample_s;
    const Vector3d force = accel_body_mps2 - from.accel_bias_mps2;
    const Matrix3d rotation = from.q_local_body.toRotationMatrix();
    // Derivatives of propagate(): the force increment is rotated by (I + skew(angle)/2).
    const Vector3d unturned = rotation * force * sample_s;
    const Vector3d increment = unturned + rotation * (0.5 * sample_s) * angle.cross(force);
    if (dt_s == 0) begin = from.q_local_body;
    velocity_by_gyro += skew(increment) * turns + (0.5 * sample_s) * skew(unturned) * rotation;
    increment_enu_mps += increment;
    turned += sample_s * rotation * (Matrix3d::Identity() + 0.5 * skew(angle));
    // Mean of the rotation over the sample: the left Jacobian of the exponential (Sola eq. 183, which has the right
    // one); its series where the closed form would divide by nearly nothing.
    const double length = angle.norm();
    const bool tiny = length < 1e-3;
    const double first = tiny ? 0.5 - length * length / 24 : (1 - std::cos(length)) / (length * length);
    const double second =
        tiny ? 1.0 / 6 - length * length / 120 : (length - std::sin(length)) / (length * length * length);
    const Matrix3d across = skew(angle);
    turns += sample_s * rotation * (Matrix3d::Identity() + first * across + second * across * across);
    force_x_mps += force.x() * sample_s;
    angle_x_rad += angle.x();
    dt_s += sample_s;
}

Eskf::Step Eskf::Group::step(const Eigen::Quaterniond& end) const {
    const Matrix3d to_body = end.toRotationMatrix().transpose();
    const Matrix3d rotation = begin.toRotationMatrix();
    Step step;
    step.velocity_by_attitude = -skew(increment_enu_mps) * rotation;
    step.velocity_by_accel = -turned;
    step.velocity_by_gyro = velocity_by_gyro;
    step.attitude_by_attitude = to_body * rotation;
    step.attitude_by_gyro = -to_body * turns;
    step.force_x_mps2 = force_x_mps / dt_s;
    step.rate_x_radps = angle_x_rad / dt_s;
    step.dt_s = dt_s;
    return step;
}

Eskf::Covariance Eskf::transition(const EskfNominal& from, const Vector3d& accel_body_mps2,
                                  const Vector3d& rate_body_radps, double dt_s) {
    Group group;
    group.add(from, accel_body_mps2, rate_body_radps, dt_s);
    return matrix_of(group.step(propagate(from, accel_body_mps2, rate_body_radps, dt_s, 0).q_local_body));
}

Eskf::Covariance Eskf::matrix_of(const Step& step) {
    Covariance f = Covariance::Identity();
    f.block<3, 3>(kVelocity, kAttitude) = step.velocity_by_attitude;
    f.block<3, 3>(kVelocity, kAccelBias) = step.velocity_by_accel;
    f.block<3, 3>(kVelocity, kGyroBias) = step.velocity_by_gyro;
    f.block<3, 3>(kVelocity, kAccelScale) = step.force_x_mps2 * step.velocity_by_accel;
    f.block<3, 3>(kVelocity, kGyroScale) = step.rate_x_radps * step.velocity_by_gyro;
    f.block<3, 3>(kPosition, kVelocity) = Matrix3d::Identity() * step.dt_s;
    f.block<3, kSize - kAttitude>(kPosition, kAttitude) =
        0.5 * step.dt_s * f.block<3, kSize - kAttitude>(kVelocity, kAttitude);
    f.block<3, 3>(kAttitude, kAttitude) = step.attitude_by_attitude;
    f.block<3, 3>(kAttitude, kGyroBias) = step.attitude_by_gyro;
    f.block<3, 3>(kAttitude, kGyroScale) = step.rate_x_radps * step.attitude_by_gyro;
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

    group_.add(nominal_, accel_body_mps2, rate_body_radps, dt_s);
    nominal_ = propagate(nominal_, accel_body_mps2, rate_body_radps, dt_s, gravity_mps2_, coning, sculling);
    const auto square = [](double x) { return x * x; };
    group_.velocity_variance += square(noise_.accel_density_mps2_rthz * accel_inflation) * dt_s;
    group_.angle_variance += square(noise_.gyro_density_radps_rthz * gyro_inflation) * dt_s;
    if (group_.dt_s > kGroup_s - 0.5 * dt_s) settle();
}

void Eskf::settle() {
    if (group_.dt_s == 0) return;
    const Step step = group_.step(nominal_.q_local_body);
    propagate_covariance(step);
    if (carried_) *carried_ = (matrix_of(step) * *carried_).eval();
    // White noise of the sample enters velocity rotated, and rotation leaves isotropic noise as it is.
    const auto square = [](double x) { return x * x; };
    const double dt_s = group_.dt_s;
    const double accel_walk = square(noise_.accel_bias_walk_mps2_rts) * dt_s;
    const double gyro_walk = square(noise_.gyro_bias_walk_radps_rts) * dt_s;
    for (int axis = 0; axis < 3; ++axis) {
        covariance_(kPosition + axis, kPosition + axis) += 0.25 * group_.velocity_variance * dt_s * dt_s;
        covariance_(kPosition + axis, kVelocity + axis) += 0.5 * group_.velocity_variance * dt_s;
        covariance_(kVelocity + axis, kPosition + axis) += 0.5 * group_.velocity_variance * dt_s;
        covariance_(kVelocity + axis, kVelocity + axis) += group_.velocity_variance;
        covariance_(kAttitude + axis, kAttitude + axis) += group_.angle_variance;
        covariance_(kAccelBias + axis, kAccelBias + axis) += accel_walk;
        covariance_(kGyroBias + axis, kGyroBias + axis) += gyro_walk;
    }
    group_ = {};
}

/// F P F' without the zeros and ones of F, by columns, which lie together in memory: first P F' for position, velocity
/// and attitude, then F from the left on the nine rows that it changes; the rest is their mirror image. A scale error
/// acts as a bias does, times what it is a fraction of.
void Eskf::propagate_covariance(const Step& step) {
    Covariance& p = covariance_;
    const Columns accel = p.middleCols<3>(kAccelBias) + step.force_x_mps2 * p.middleCols<3>(kAccelScale);
    const Columns gyro = p.middleCols<3>(kGyroBias) + step.rate_x_radps * p.middleCols<3>(kGyroScale);
    const Columns faster = p.middleCols<3>(kAttitude).lazyProduct(step.velocity_by_attitude.transpose()) +
                           accel.lazyProduct(step.velocity_by_accel.transpose()) +
                           gyro.lazyProduct(step.velocity_by_gyro.transpose());
    Eigen::Matrix<double, kSize, kAccelBias> moved;
    moved.middleCols<3>(kPosition) =
        p.middleCols<3>(kPosition) + step.dt_s * p.middleCols<3>(kVelocity) + (0.5 * step.dt_s) * faster;
    moved.middleCols<3>(kVelocity) = p.middleCols<3>(kVelocity) + faster;
    moved.middleCols<3>(kAttitude) = p.middleCols<3>(kAttitude).lazyProduct(step.attitude_by_attitude.transpose()) +
                                     gyro.lazyProduct(step.attitude_by_gyro.transpose());

    using Rows = Eigen::Matrix<double, 3, kAccelBias>;
    const Rows by_accel = moved.middleRows<3>(kAccelBias) + step.force_x_mps2 * moved.middleRows<3>(kAccelScale);
    const Rows by_gyro = moved.middleRows<3>(kGyroBias) + step.rate_x_radps * moved.middleRows<3>(kGyroScale);
    const Rows by_attitude = moved.middleRows<3>(kAttitude);
    const Rows change = step.velocity_by_attitude.lazyProduct(by_attitude) +
                        step.velocity_by_accel.lazyProduct(by_accel) + step.velocity_by_gyro.lazyProduct(by_gyro);
    moved.middleRows<3>(kPosition) += step.dt_s * moved.middleRows<3>(kVelocity) + (0.5 * step.dt_s) * change;
    moved.middleRows<3>(kVelocity) += change;
    moved.middleRows<3>(kAttitude) =
        step.attitude_by_attitude.lazyProduct(by_attitude) + step.attitude_by_gyro.lazyProduct(by_gyro);

    for (int column = 0; column < kAccelBias; ++column) {
        for (int row = 0; row < column; ++row) {
            const double mean = 0.5 * (moved(row, column) + moved(column, row));
            moved(row, column) = moved(column, row) = mean;
        }
        for (int row = kAccelBias; row < kSize; ++row) p(column, row) = moved(row, column);
    }
    p.leftCols<kAccelBias>() = moved;
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
    settle();
    const Eigen::Matrix<double, kSize, M> gain =
        consider_correct<kSize, M>(covariance_, kEstimated, observation, noise);
    inject(gain * innovation);
}

Matrix3d Eskf::reset_of(const Vector3d& turn_rad) {
    return Matrix3d::Identity() - 0.5 * skew(turn_rad);
}

void Eskf::inject(const ErrorVector& error) {
    nominal_ = plus(nominal_, error);
    const Matrix3d reset = reset_of(error.segment<3>(kAttitude));
    const Eigen::Matrix<double, 3, kSize> rows = reset.lazyProduct(covariance_.middleRows<3>(kAttitude));
    covariance_.middleRows<3>(kAttitude) = rows;
    const Columns columns = covariance_.middleCols<3>(kAttitude).lazyProduct(reset.transpose());
    covariance_.middleCols<3>(kAttitude) = columns;
    covariance_ = (0.5 * (covariance_ + covariance_.transpose())).eval();
}

void Eskf::inflate(Part part, double sigma_added) {
    for (int axis = 0; axis < 3; ++axis) inflate(part + axis, sigma_added);
}

void Eskf::inflate(int index, double sigma_added) {
    covariance_(index, index) += sigma_added * sigma_added;
}

void Eskf::inflate_velocity(const Vector3d& along_enu, double sigma_added) {
    covariance_.block<3, 3>(kVelocity, kVelocity) += sigma_added * sigma_added * along_enu * along_enu.transpose();
}

void Eskf::fade(int first, int count, double kept) {
    for (int index = first; index < first + count; ++index) {
        covariance_.row(index) *= kept;
        covariance_.col(index) *= kept;
        if (carried_) carried_->row(index) *= kept;
    }
}

void Eskf::wander_fix_bias(double kept, const Vector3d& variance_added) {
    fade(kFixBias, 3, kept);
    covariance_.diagonal().segment<3>(kFixBias) += variance_added;
    nominal_.fix_bias_m *= kept;
}

void Eskf::wander_height_error(double kept_air, double kept_motion) {
    fade(kHeightError, 1, kept_air);
    fade(kHeightError + 1, 1, kept_motion);
    const Eigen::Array2d kept(kept_air, kept_motion);
    covariance_.diagonal().segment<2>(kHeightError).array() += 1 - kept.square();
    nominal_.height_error.array() *= kept;
}

void Eskf::forget(int index, double sigma) {
    settle();
    covariance_.row(index).setZero();
    covariance_.col(index).setZero();
    covariance_(index, index) = sigma * sigma;
    if (carried_) carried_->row(index).setZero();
}

void Eskf::drift(const Eigen::Vector2d& air_en_mps, double sigma_mps, double gathered_m2ps) {
    for (int axis = 0; axis < 2; ++axis) {
        const int velocity = kVelocity + axis, position = kPosition + axis;
        forget(velocity, sigma_mps);
        covariance_(position, velocity) = covariance_(velocity, position) = gathered_m2ps;
    }
    nominal_.velocity_enu_mps.head<2>() = air_en_mps;
}

Eskf::ErrorVector Eskf::error_of(const EskfNominal& estimate, const EskfNominal& truth) {
    ErrorVector error;
    error << truth.position_enu_m - estimate.position_enu_m, truth.velocity_enu_mps - estimate.velocity_enu_mps,
        rotation_vector_from_quaternion(estimate.q_local_body.conjugate() * truth.q_local_body),
        truth.accel_bias_mps2 - estimate.accel_bias_mps2, truth.gyro_bias_radps - estimate.gyro_bias_radps,
        truth.fix_bias_m - estimate.fix_bias_m, truth.fix_delay_s - estimate.fix_delay_s,
        truth.datum_m - estimate.datum_m, truth.height_error - estimate.height_error,
        Eigen::Matrix<double, kSize - kEstimated, 1>::Zero();
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
    to.fix_bias_m += error.segment<3>(kFixBias);
    to.fix_delay_s += error(kFixDelay);
    to.datum_m += error(kDatum);
    to.height_error += error.segment<2>(kHeightError);
    return to;
}

template Eigen::Matrix<double, 1, 1> Eskf::innovation_covariance<1>(const Observation<1>&,
                                                                    const Eigen::Matrix<double, 1, 1>&) const;
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
