#include "server/estimate/pad_alignment.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr std::int64_t kBlock_ns = 100 * kNsPerMs;
constexpr double kAlign_s = 1.5;          // long enough to average noise and wind sway, short enough to realign after handling
constexpr double kSpreadMax_mps2 = 2.5;   // peak to mean within a block: six sigma of a cheap sensor, far below a launch
constexpr double kRatePeak_rad_s = 0.25;  // wind rocking a rail stays below; hands do not
constexpr double kGravityOff_mps2 = 1.5;  // |f| of a vehicle at rest, bias and scale error allowed for
constexpr double kSway_rad_s = 1e-3;      // mean rate of a rail in wind while it is averaged
constexpr double kSway_mps = 0.02;
constexpr double kPadHeight_m = 0.3;
constexpr double kPadSurvey_m = 5.0;      // how well the site file knows the pad, when no fix says better
constexpr int kFixesCounted = 25;         // satellite errors are alike for seconds: more fixes do not make a better mean
constexpr double kAzimuthSigma_rad = 3 * std::numbers::pi / 180; // an operator with a compass
constexpr double kMagHeadingSigma_rad = 6 * std::numbers::pi / 180; // iron in the vehicle, uncalibrated
constexpr double kHeadingUnknown_rad = std::numbers::pi / std::numbers::sqrt3; // uniform over the circle

} // namespace

PadAlignment::PadAlignment(const SensorNoise& sensors, const Site& site, double gravity_mps2)
    : sensors_(sensors), site_(&site), gravity_mps2_(gravity_mps2) {}

void PadAlignment::clear() {
    mean_accel_ = mean_rate_ = mag_sum_ = Vector3d::Zero();
    position_sum_ = Vector3d::Zero();
    position_count_ = 0;
    samples_ = 0;
    mag_count_ = 0;
    count_ = 0;
    still_s_ = 0;
}

void PadAlignment::open_block(const ImuSample& sample) {
    block_start_ns_ = sample.t_ns;
    sum_accel_ = sum_rate_ = Vector3d::Zero();
    first_accel_ = sample.accel_body_mps2;
    accel_spread_ = rate_peak_ = 0;
    count_ = 0;
}

bool PadAlignment::imu(const ImuSample& sample) {
    if (count_ > 0 && sample.t_ns - last_ns_ > kBlock_ns) {
        count_ = 0; // a gap: the block would not be one stretch of time
    }
    if (count_ == 0) {
        open_block(sample);
    }
    last_ns_ = sample.t_ns;
    sum_accel_ += sample.accel_body_mps2;
    sum_rate_ += sample.rate_body_rad_s;
    accel_spread_ = std::max(accel_spread_, (sample.accel_body_mps2 - first_accel_).cwiseAbs().maxCoeff());
    rate_peak_ = std::max(rate_peak_, sample.rate_body_rad_s.norm());
    ++count_;
    if (sample.t_ns - block_start_ns_ < kBlock_ns || count_ < 3) {
        return false;
    }
    const Vector3d accel = sum_accel_ / count_;
    const Vector3d rate = sum_rate_ / count_;
    const double block_s = seconds_between(block_start_ns_, sample.t_ns);
    interval_s_ = block_s / (count_ - 1);
    const bool still = accel_spread_ < 2 * kSpreadMax_mps2 && rate_peak_ < kRatePeak_rad_s &&
                       std::abs(accel.norm() - gravity_mps2_) < kGravityOff_mps2;
    const int samples = count_;
    count_ = 0;
    if (!still) {
        clear();
        return false;
    }
    // Another pose is another alignment: set down again, a vehicle may stand still long before anybody says so.
    if (samples_ > 0 && (accel - mean_accel_).norm() > 1.0) {
        clear();
    }
    const auto weight = static_cast<double>(samples) / static_cast<double>(samples_ + samples);
    mean_accel_ += weight * (accel - mean_accel_);
    mean_rate_ += weight * (rate - mean_rate_);
    samples_ += samples;
    still_s_ += block_s;
    return true;
}

void PadAlignment::mag(const MagSample& sample) {
    if (sample.field_body_ut.allFinite() && still_s_ > 0) {
        mag_sum_ += sample.field_body_ut;
        ++mag_count_;
    }
}

void PadAlignment::position(const Vector3d& position_enu_m, const Vector3d& sigma_m) {
    if (still_s_ > 0) {
        position_sum_ += position_enu_m;
        position_sigma_m_ = sigma_m;
        ++position_count_;
    }
}

double PadAlignment::heading_from_field(const Eigen::Quaterniond& q) const {
    const Vector3d field = q * (mag_sum_ / mag_count_);
    const double declination = site_->declination_deg * std::numbers::pi / 180;
    // Azimuth is clockwise from north, rotation about up counter-clockwise.
    return std::remainder(std::atan2(field.x(), field.y()) - declination, 2 * std::numbers::pi);
}

std::optional<Alignment> PadAlignment::alignment() const {
    if (still_s_ < kAlign_s) {
        return std::nullopt;
    }
    Alignment result;
    result.sample_interval_s = interval_s_;
    const Vector3d up_body = mean_accel_.normalized();
    // Shortest rotation that takes measured up to local up; its heading is arbitrary and set right below.
    Eigen::Quaterniond q = Eigen::Quaterniond::FromTwoVectors(up_body, Vector3d::UnitZ());
    const Vector3d nose = q * Vector3d::UnitX();
    const double lean = std::hypot(nose.x(), nose.y());
    const double tilt_sigma = std::hypot(sensors_.accel_bias_mps2,
                                         sensors_.accel_noise_mps2 / std::sqrt(static_cast<double>(samples_))) /
                              gravity_mps2_;
    Matrix3d attitude_from_bias = skew(up_body) / gravity_mps2_; // dtheta = u x b / g
    double heading_sigma = kHeadingUnknown_rad; // of the part that has nothing to do with the accelerometer
    result.heading_sigma_rad = kHeadingUnknown_rad;
    double turn = 0; // about up, counter-clockwise
    if (mag_count_ > 0) {
        turn = heading_from_field(q);
        heading_sigma = result.heading_sigma_rad = kMagHeadingSigma_rad;
    } else if (site_->launch_azimuth_deg && tilt_sigma < kHeadingUnknown_rad * lean) {
        turn = std::remainder(std::atan2(nose.x(), nose.y()) - *site_->launch_azimuth_deg * std::numbers::pi / 180,
                              2 * std::numbers::pi);
        // The nose leans to the known azimuth: its sideways error is zero. With c the horizontal unit vector across the lean, in body
        // axes, (dtheta + psi u) . (x cross c) = 0 gives the heading error psi that each tilt error brings.
        const Vector3d across_body = q.conjugate() * Vector3d(nose.y(), -nose.x(), 0) / lean;
        const Vector3d arm = Vector3d::UnitX().cross(across_body);
        // A lean that the accelerometer's bias has lengthened makes its direction look surer than it is: the rail's own lean, where
        // the site file gives it, says how sure it can be (concentration of the direction of a noisy vector of known length).
        const double rail_lean = std::sin(site_->launch_tilt_deg * std::numbers::pi / 180);
        const double lengthened = rail_lean > 0 ? std::sqrt(std::clamp(lean / rail_lean, 1.0, 9.0)) : 1.0;
        attitude_from_bias -= lengthened * up_body * (arm.transpose() * attitude_from_bias) / up_body.dot(arm);
        heading_sigma = kAzimuthSigma_rad;
        result.heading_sigma_rad = std::hypot(kAzimuthSigma_rad, lengthened * tilt_sigma / lean);
    }
    q = quaternion_from_rotation_vector({0, 0, turn}) * q;
    result.nominal.q_local_body = q.normalized();
    result.nominal.gyro_bias_rad_s = mean_rate_;

    Eskf::Covariance& p = result.covariance;
    p.setZero();
    const auto square = [](double x) { return x * x; };
    const double bias2 = square(sensors_.accel_bias_mps2);
    const double noise2 = square(sensors_.accel_noise_mps2) / static_cast<double>(samples_);
    const double gyro2 = square(sensors_.gyro_noise_rad_s) / static_cast<double>(samples_) + square(kSway_rad_s);
    if (position_count_ > 0) {
        result.nominal.position_enu_m = position_sum_ / position_count_;
        p.block<3, 3>(Eskf::kPosition, Eskf::kPosition) =
            (position_sigma_m_.cwiseAbs2() / std::min(position_count_, kFixesCounted)).asDiagonal();
    } else {
        p.block<3, 3>(Eskf::kPosition, Eskf::kPosition) = Matrix3d::Identity() * square(kPadSurvey_m);
    }
    // At rest the pad is the reference for height above the pad, by definition.
    result.nominal.position_enu_m.z() = 0;
    p.row(Eskf::kPosition + 2).setZero();
    p.col(Eskf::kPosition + 2).setZero();
    p(Eskf::kPosition + 2, Eskf::kPosition + 2) = square(kPadHeight_m);
    p.block<3, 3>(Eskf::kVelocity, Eskf::kVelocity) = Matrix3d::Identity() * square(kSway_mps);
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) =
        attitude_from_bias * (bias2 + noise2) * attitude_from_bias.transpose() +
        square(heading_sigma) * up_body * up_body.transpose() +
        Matrix3d::Identity() * square(1e-3); // keeps it positive: a rail is not a rock
    p.block<3, 3>(Eskf::kAccelBias, Eskf::kAccelBias) = Matrix3d::Identity() * bias2;
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAccelBias) = attitude_from_bias * bias2;
    p.block<3, 3>(Eskf::kAccelBias, Eskf::kAttitude) =
        attitude_from_bias.transpose() * bias2;
    p.block<3, 3>(Eskf::kGyroBias, Eskf::kGyroBias) = Matrix3d::Identity() * gyro2;
    return result;
}

} // namespace turnstone
