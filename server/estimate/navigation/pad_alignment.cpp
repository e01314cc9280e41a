#include "server/estimate/navigation/pad_alignment.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr std::int64_t kBlock_ns = 100 * kNsPerMs;
constexpr double kAlign_s = 1.5; // long enough to average noise and wind sway, short enough to realign after handling
constexpr double kSpreadMax_mps2 = 2.5;  // peak to mean within a block: six sigma of a cheap sensor, far below a launch
constexpr double kRatePeak_radps = 0.25; // wind on a rail stays below; hands do not
constexpr double kGravityOff_mps2 = 1.5; // |f| of a vehicle at rest, bias and scale error allowed for
constexpr double kSway_radps = 1e-3;     // mean rate of a rail in wind while it is averaged
constexpr double kSway_mps = 0.02;
constexpr double kPadHeight_m = 0.3;
constexpr double kPadSurvey_m = 5.0; // how well the site file knows the pad, when no fix says better
constexpr int kFixesCounted = 25;    // GNSS errors are alike for seconds: more fixes do not improve the mean
constexpr double kAzimuthSigma_rad = radians(4); // an operator with a compass
constexpr double kRailSigma_rad = radians(0.8);  // lean of a rail set by hand with a level, and the play of its lugs
constexpr double kStepFraction = 0.55; // sigma of a hypothesis in steps between them: their sum is flat to 1 %
constexpr double kNotOnRail = 25.0;    // squared bias in sigmas that only a different pose explains
constexpr double kNearPad_m = 50.0;
constexpr double kSway_mps2 = 0.01;
// A field that dips more steeply, or none (a dead sensor), has no heading to give.
constexpr double kFieldLevelMin = 0.1;
constexpr double kMagHeadingSigma_rad = radians(6); // iron in the vehicle, uncalibrated

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
    if (count_ > 0 && sample.t_ns - last_ns_ > kBlock_ns)
        count_ = 0; // a gap: the block would not be one stretch of time
    if (count_ == 0) open_block(sample);
    last_ns_ = sample.t_ns;
    sum_accel_ += sample.accel_body_mps2;
    sum_rate_ += sample.rate_body_radps;
    accel_spread_ = std::max(accel_spread_, (sample.accel_body_mps2 - first_accel_).cwiseAbs().maxCoeff());
    rate_peak_ = std::max(rate_peak_, sample.rate_body_radps.norm());
    ++count_;
    if (sample.t_ns - block_start_ns_ < kBlock_ns || count_ < 3) return false;
    const Vector3d accel = sum_accel_ / count_;
    const Vector3d rate = sum_rate_ / count_;
    const double block_s = seconds_between(block_start_ns_, sample.t_ns);
    interval_s_ = block_s / (count_ - 1);
    const bool still = accel_spread_ < 2 * kSpreadMax_mps2 && rate_peak_ < kRatePeak_radps &&
                       std::abs(accel.norm() - gravity_mps2_) < kGravityOff_mps2;
    const int samples = count_;
    count_ = 0;
    if (!still) {
        clear();
        return false;
    }
    // Another pose needs another alignment: a vehicle that was set down may be still long before the phase says so.
    if (samples_ > 0 && (accel - mean_accel_).norm() > 1.0) clear();
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
    const double declination = radians(site_->declination_deg);
    // Azimuth is clockwise from north, rotation about up counter-clockwise.
    return std::remainder(std::atan2(field.x(), field.y()) - declination, 2 * std::numbers::pi);
}

bool PadAlignment::knows_north(const Eigen::Quaterniond& q) const {
    if (mag_count_ == 0) return false;
    const Vector3d field = q * (mag_sum_ / mag_count_);
    return field.head<2>().norm() > kFieldLevelMin * field.norm();
}

bool PadAlignment::near_pad() const {
    return position_count_ == 0 || (position_sum_ / position_count_).head<2>().norm() < kNearPad_m;
}

Alignment PadAlignment::level(const Eigen::Quaterniond& q_local_body, const Vector3d& attitude_sigma_rad) const {
    const auto square = [](double x) { return x * x; };
    EskfNominal nominal;
    nominal.q_local_body = q_local_body.normalized();
    nominal.gyro_bias_radps = mean_rate_;
    Eskf::Covariance p = Eskf::Covariance::Zero();
    if (position_count_ > 0) {
        nominal.position_enu_m = position_sum_ / position_count_;
        p.block<3, 3>(Eskf::kPosition, Eskf::kPosition) =
            (position_sigma_m_.cwiseAbs2() / std::min(position_count_, kFixesCounted)).asDiagonal();
    } else {
        p.block<3, 3>(Eskf::kPosition, Eskf::kPosition) = Matrix3d::Identity() * square(kPadSurvey_m);
    }
    if (near_pad()) { // the pad is the reference for height above the pad, by definition
        nominal.position_enu_m.z() = 0;
        p(Eskf::kPosition + 2, Eskf::kPosition + 2) = square(kPadHeight_m);
    }
    p.block<3, 3>(Eskf::kVelocity, Eskf::kVelocity) = Matrix3d::Identity() * square(kSway_mps);
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) = attitude_sigma_rad.cwiseAbs2().asDiagonal();
    p.block<3, 3>(Eskf::kAccelBias, Eskf::kAccelBias) = Matrix3d::Identity() * square(sensors_.accel_bias_mps2);
    p.block<3, 3>(Eskf::kGyroBias, Eskf::kGyroBias) =
        Matrix3d::Identity() *
        (square(sensors_.gyro_noise_radps) / static_cast<double>(samples_) + square(kSway_radps));

    Eskf filter(EskfNoise{}, gravity_mps2_);
    filter.reset(nominal, p);
    // At rest f = R^T g up + bias; a turn dtheta of the body changes it by (R^T g up) x dtheta.
    Eskf::Observation<3> h = Eskf::Observation<3>::Zero();
    const Vector3d expected = nominal.q_local_body.conjugate() * Vector3d(0, 0, gravity_mps2_);
    h.block<3, 3>(0, Eskf::kAttitude) = skew(expected);
    h.block<3, 3>(0, Eskf::kAccelBias).setIdentity();
    const Vector3d innovation = mean_accel_ - expected;
    const Matrix3d noise =
        Matrix3d::Identity() * (square(sensors_.accel_noise_mps2) / static_cast<double>(samples_) + square(kSway_mps2));
    const Matrix3d s = filter.innovation_covariance<3>(h, noise);
    const double log_weight = -0.5 * (filter.nis<3>(innovation, h, noise) + std::log(s.determinant()));
    filter.correct<3>(innovation, h, noise);
    return {filter.nominal(), filter.covariance(), log_weight};
}

void PadAlignment::hypotheses(std::vector<Alignment>& out) const {
    out.clear();
    if (still_s_ < kAlign_s) return;
    const Vector3d up_body = mean_accel_.normalized();
    // Shortest rotation that takes measured up to local up; its heading is arbitrary.
    const Eigen::Quaterniond levelled = shortest_rotation(up_body, Vector3d::UnitZ());
    const double unlevel_rad = sensors_.accel_bias_mps2 / gravity_mps2_;
    if (knows_north(levelled)) {
        const double turn = heading_from_field(levelled);
        const Vector3d sigma = (Vector3d::Constant(3 * unlevel_rad).cwiseAbs2() +
                                up_body.cwiseAbs2() * kMagHeadingSigma_rad * kMagHeadingSigma_rad)
                                   .cwiseSqrt();
        out.push_back(level(quaternion_from_rotation_vector({0, 0, turn}) * levelled, sigma));
        return;
    }
    const double step_rad = 2 * std::numbers::pi / static_cast<double>(kHypotheses);
    const double rail_rad = radians(site_->launch_tilt_deg);
    if (site_->launch_azimuth_deg && rail_rad > 0 && near_pad()) {
        const double azimuth = radians(*site_->launch_azimuth_deg);
        const Vector3d rail(std::sin(rail_rad) * std::sin(azimuth), std::sin(rail_rad) * std::cos(azimuth),
                            std::cos(rail_rad));
        const Eigen::Quaterniond along = shortest_rotation(Vector3d::UnitX(), rail);
        const double across = std::hypot(kRailSigma_rad, std::sin(rail_rad) * kAzimuthSigma_rad);
        for (std::size_t k = 0; k < kHypotheses; ++k) {
            const Eigen::Quaterniond turned =
                along * quaternion_from_rotation_vector({step_rad * static_cast<double>(k), 0, 0});
            out.push_back(level(turned, {kStepFraction * step_rad, across, across}));
        }
        std::sort(out.begin(), out.end(),
                  [](const Alignment& a, const Alignment& b) { return a.log_weight > b.log_weight; });
        // A vehicle that does not lean as the rail does is not on it.
        const Vector3d missed = out.front().nominal.accel_bias_mps2 / sensors_.accel_bias_mps2;
        if (missed.squaredNorm() < kNotOnRail) return;
        out.clear();
    }
    for (std::size_t k = 0; k < kHypotheses; ++k) {
        const Vector3d sigma = (Vector3d::Constant(3 * unlevel_rad).cwiseAbs2() +
                                up_body.cwiseAbs2() * kStepFraction * kStepFraction * step_rad * step_rad)
                                   .cwiseSqrt();
        out.push_back(
            level(quaternion_from_rotation_vector({0, 0, step_rad * static_cast<double>(k)}) * levelled, sigma));
    }
}

} // namespace turnstone::estimate
