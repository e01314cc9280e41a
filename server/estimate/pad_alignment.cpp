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
constexpr double kSway_rad_s = 0.002;     // mean rate of a rail in wind over one block
constexpr double kAzimuthSigma_rad = 3 * std::numbers::pi / 180; // an operator with a compass
constexpr double kMagHeadingSigma_rad = 6 * std::numbers::pi / 180; // iron in the vehicle, uncalibrated
constexpr double kHeadingUnknown_rad = std::numbers::pi / std::numbers::sqrt3; // uniform over the circle

} // namespace

PadAlignment::PadAlignment(const SensorNoise& sensors, const Site& site, double gravity_mps2)
    : sensors_(sensors), site_(&site), gravity_mps2_(gravity_mps2) {}

void PadAlignment::clear() {
    mean_accel_ = mean_rate_ = mag_sum_ = Vector3d::Zero();
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
    block_count_ = count_;
    count_ = 0;
    if (!still) {
        clear();
        return false;
    }
    // Another pose is another alignment: set down again, a vehicle may stand still long before anybody says so.
    if (samples_ > 0 && (accel - mean_accel_).norm() > 1.0) {
        clear();
    }
    block_rate_ = rate;
    const auto weight = static_cast<double>(block_count_) / static_cast<double>(samples_ + block_count_);
    mean_accel_ += weight * (accel - mean_accel_);
    mean_rate_ += weight * (rate - mean_rate_);
    samples_ += block_count_;
    still_s_ += block_s;
    return true;
}

void PadAlignment::mag(const MagSample& sample) {
    if (sample.field_body_ut.allFinite() && still_s_ > 0) {
        mag_sum_ += sample.field_body_ut;
        ++mag_count_;
    }
}

double PadAlignment::heading_error_rad(const MagSample& sample, const Eigen::Quaterniond& q) const {
    const Vector3d field = q * sample.field_body_ut;
    const double declination = site_->declination_deg * std::numbers::pi / 180;
    // Azimuth is clockwise from north, rotation about up counter-clockwise.
    const double measured = std::atan2(field.x(), field.y());
    return std::remainder(measured - declination, 2 * std::numbers::pi);
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
    double heading_sigma = kHeadingUnknown_rad;
    double turn = 0; // about up, counter-clockwise
    if (mag_count_ > 0) {
        const MagSample mean{last_ns_, mag_sum_ / mag_count_};
        turn = heading_error_rad(mean, q);
        heading_sigma = kMagHeadingSigma_rad;
    } else if (site_->launch_azimuth_deg && lean > std::sin(0.5 * std::numbers::pi / 180)) {
        const double azimuth = std::atan2(nose.x(), nose.y());
        turn = std::remainder(azimuth - *site_->launch_azimuth_deg * std::numbers::pi / 180, 2 * std::numbers::pi);
        heading_sigma = std::min(kHeadingUnknown_rad, std::hypot(kAzimuthSigma_rad, tilt_sigma / lean));
    }
    q = quaternion_from_rotation_vector({0, 0, turn}) * q;
    result.nominal.q_local_body = q.normalized();
    result.nominal.gyro_bias_rad_s = mean_rate_;
    result.heading_sigma_rad = heading_sigma;

    Eskf::Covariance& p = result.covariance;
    p.setZero();
    const auto square = [](double x) { return x * x; };
    const Matrix3d level = skew(up_body) / gravity_mps2_; // dtheta = u x b / g
    const double bias2 = square(sensors_.accel_bias_mps2);
    const double noise2 = square(sensors_.accel_noise_mps2) / static_cast<double>(samples_);
    const double gyro2 = square(sensors_.gyro_noise_rad_s) / static_cast<double>(samples_) + square(kSway_rad_s);
    p.block<3, 3>(Eskf::kPosition, Eskf::kPosition) = Matrix3d::Identity() * square(5.0);
    p.block<3, 3>(Eskf::kVelocity, Eskf::kVelocity) = Matrix3d::Identity() * square(0.05);
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) =
        level * (bias2 + noise2) * level.transpose() + square(heading_sigma) * up_body * up_body.transpose() +
        Matrix3d::Identity() * square(1e-3); // keeps it positive: a rail is not a rock
    p.block<3, 3>(Eskf::kAccelBias, Eskf::kAccelBias) = Matrix3d::Identity() * bias2;
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAccelBias) = level * bias2;
    p.block<3, 3>(Eskf::kAccelBias, Eskf::kAttitude) = level.transpose() * bias2;
    p.block<3, 3>(Eskf::kGyroBias, Eskf::kGyroBias) = Matrix3d::Identity() * gyro2;
    return result;
}

} // namespace turnstone
