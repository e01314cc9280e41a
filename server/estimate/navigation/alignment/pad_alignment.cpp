#include "server/estimate/navigation/alignment/pad_alignment.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/math/kalman.hpp"
#include "server/estimate/math/square.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kBlock_s = 0.1;
constexpr int kBlockSamples = 3;
constexpr double kAlign_s = 1.5; // long enough to average noise and wind sway, short enough to realign after handling
// Still is what stays below these, and below so many sigmas of the vehicle's own sensors.
constexpr double kSpreadMax_mps2 = 5.0; // within a block: far below a launch
constexpr double kSpreadSigmas = 12.0;
constexpr double kRatePeak_radps = 0.25; // wind on a rail stays below; hands do not
constexpr double kRateSigmas = 6.0;
constexpr double kGravityOff_mps2 = 1.5;
constexpr double kGravitySigmas = 4.0;
constexpr double kOtherPose_mps2 = 1.0;
constexpr double kSway_radps = 1e-3; // mean rate of a rail in wind while it is averaged
constexpr double kSway_mps = 0.02;
constexpr double kPadHeight_m = 0.15;
constexpr double kPadSurvey_m = 5.0; // how well the site file knows the pad, when no fix says better
constexpr double kPickedUp_m = 1.5;  // how far it may go in a tenth of a second's shaking, as steps of a random walk
constexpr double kNotOnRail = 25.0;  // squared bias in sigmas that only a different pose explains
constexpr double kNearPad_m = 50.0;
constexpr double kSway_mps2 = 0.01;
// A field that dips more steeply, or none (a dead sensor), has no heading to give.
constexpr double kFieldLevelMin = 0.1;
constexpr double kMagHeadingSigma_rad = radians(12); // uncalibrated; common practice, no source
constexpr double kSameWeight = 1e-3;                 // of log weights
constexpr double kMagWrong = 0.1;                    // chance that iron or a current makes it worthless

/// Covariance of an attitude that is unsure by a turn around one axis.
Matrix3d around(const Vector3d& axis, double sigma_rad) {
    return square(sigma_rad) * axis * axis.transpose();
}

} // namespace

PadAlignment::PadAlignment(const SensorNoise& sensors, const Site& site, double gravity_mps2,
                           const FlightScatter& scatter)
    : sensors_(sensors), site_(&site), gravity_mps2_(gravity_mps2), rail_lean_rad_(scatter.rail_tilt_rad),
      rail_azimuth_rad_(scatter.rail_azimuth_rad), fixes_(sensors) {}

void PadAlignment::clear() {
    begin_again();
    fixes_.clear();
    flown_ = false;
}

void PadAlignment::land() {
    clear();
    flown_ = true;
}

void PadAlignment::land(const EskfNominal& nominal, const Eskf::Covariance& covariance, std::int64_t t_ns) {
    land();
    fixes_.land(nominal, covariance, t_ns);
}

void PadAlignment::begin_again() {
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

AlignmentWait PadAlignment::judge(double force_mps2) const {
    const double spread_mps2 = std::max(kSpreadMax_mps2, kSpreadSigmas * sensors_.accel_noise_mps2);
    const double peak_radps =
        std::max(kRatePeak_radps, kRateSigmas * std::hypot(sensors_.gyro_bias_radps, sensors_.gyro_noise_radps));
    const double off_mps2 = std::max(
        kGravityOff_mps2, kGravitySigmas * std::hypot(sensors_.accel_bias_mps2, sensors_.accel_scale * gravity_mps2_));
    if (accel_spread_ >= spread_mps2) return AlignmentWait::shaken;
    if (rate_peak_ >= peak_radps) return AlignmentWait::turning;
    return std::abs(force_mps2 - gravity_mps2_) >= off_mps2 ? AlignmentWait::not_one_g : AlignmentWait::averaging;
}

bool PadAlignment::imu(const ImuSample& sample) {
    const double since_s = seconds_between(last_ns_, sample.t_ns);
    // Beyond a gap the block would not be one stretch of time; at a low rate every sample comes late.
    if (count_ > 0 && since_s > std::max(kBlock_s, 2.5 * interval_s_)) {
        if (count_ == 1) interval_s_ = std::min(since_s, 0.5);
        count_ = 0;
    }
    if (count_ == 0) open_block(sample);
    last_ns_ = sample.t_ns;
    sum_accel_ += sample.accel_body_mps2;
    sum_rate_ += sample.rate_body_radps;
    accel_spread_ = std::max(accel_spread_, (sample.accel_body_mps2 - first_accel_).cwiseAbs().maxCoeff());
    rate_peak_ = std::max(rate_peak_, sample.rate_body_radps.norm());
    ++count_;
    const double block_s = seconds_between(block_start_ns_, sample.t_ns);
    if (block_s < kBlock_s || count_ < kBlockSamples) return false;
    const Vector3d accel = sum_accel_ / count_;
    const Vector3d rate = sum_rate_ / count_;
    interval_s_ = block_s / (count_ - 1);
    waits_for_ = judge(accel.norm());
    const int samples = count_;
    count_ = 0;
    if (waits_for_ != AlignmentWait::averaging) {
        begin_again();
        fixes_.carried(kPickedUp_m);
        return false;
    }
    // Another pose needs another alignment: a vehicle that was set down may be still long before the phase says so.
    const double other_pose_mps2 = std::max(kOtherPose_mps2, kRateSigmas * sensors_.accel_noise_mps2);
    if (samples_ > 0 && (accel - mean_accel_).norm() > other_pose_mps2) begin_again();
    const auto weight = static_cast<double>(samples) / static_cast<double>(samples_ + samples);
    mean_accel_ += weight * (accel - mean_accel_);
    mean_rate_ += weight * (rate - mean_rate_);
    samples_ += samples;
    still_s_ += block_s;
    return true;
}

double PadAlignment::force_at_rest_mps2() const {
    return samples_ > 0 ? mean_accel_.norm() : gravity_mps2_;
}

void PadAlignment::mag(const MagSample& sample) {
    if (sample.field_body_ut.allFinite() && still_s_ > 0) {
        mag_sum_ += sample.field_body_ut;
        ++mag_count_;
    }
}

void PadAlignment::position(std::int64_t t_ns, const Vector3d& position_enu_m, const Vector3d& sigma_m) {
    fixes_.fix(t_ns, position_enu_m, sigma_m);
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

bool PadAlignment::at_pad() const {
    return !flown_ && (fixes_.empty() || fixes_.place_enu_m().head<2>().norm() < kNearPad_m);
}

void PadAlignment::weigh_by_field(Alignment& hypothesis) const {
    if (!knows_north(hypothesis.nominal.q_local_body)) return;
    const double off = heading_from_field(hypothesis.nominal.q_local_body) / kMagHeadingSigma_rad;
    const double density = std::exp(-0.5 * off * off) / (kMagHeadingSigma_rad * std::sqrt(2 * std::numbers::pi));
    hypothesis.log_weight += std::log((1 - kMagWrong) * density + kMagWrong / (2 * std::numbers::pi));
}

Alignment PadAlignment::unknown() const {
    Alignment out{.nominal = {}, .covariance = Eskf::Covariance::Zero(), .log_weight = 0};
    Eskf::ErrorVector sigma;
    const double bias_h_m = sensors_.fix_horizontal_m * std::sqrt(sensors_.fix_correlated_share);
    const double bias_v_m = sensors_.fix_vertical_m * std::sqrt(sensors_.fix_correlated_share);
    sigma << Vector3d::Constant(kPadSurvey_m), Vector3d::Constant(kSway_mps), Vector3d::Ones(),
        Vector3d::Constant(sensors_.accel_bias_mps2), Vector3d::Constant(sensors_.gyro_bias_radps), bias_h_m, bias_h_m,
        bias_v_m, kFixDelayDoubt * sensors_.fix_delay_sigma_s, sensors_.pad_datum_sigma_m, 1, 1, sensors_.accel_scale,
        sensors_.accel_misalignment_rad, sensors_.accel_misalignment_rad, sensors_.gyro_scale,
        sensors_.gyro_misalignment_rad, sensors_.gyro_misalignment_rad;
    out.covariance.diagonal() = sigma.cwiseAbs2();
    return out;
}

Alignment PadAlignment::level(const Eigen::Quaterniond& q_local_body, const Matrix3d& attitude_rad2) const {
    Alignment start = unknown();
    EskfNominal& nominal = start.nominal;
    Eskf::Covariance& p = start.covariance;
    nominal.q_local_body = q_local_body.normalized();
    nominal.gyro_bias_radps = mean_rate_;
    for (int k = 0; k < 3 && !fixes_.empty(); ++k) {
        // The pad is the reference for height above the pad, by definition: what fixes show there is their datum.
        const RestFixes::Axis axis =
            k == 2 && at_pad() ? RestFixes::at_zero(fixes_.axis(k), kPadHeight_m) : fixes_.axis(k);
        nominal.position_enu_m(k) = axis.x(RestFixes::kPlace);
        nominal.fix_bias_m(k) = axis.x(RestFixes::kWander);
        if (k == 2) nominal.datum_m = axis.x(RestFixes::kDatum);
        const std::array<int, 3> state{Eskf::kPosition + k, Eskf::kDatum, Eskf::kFixBias + k};
        for (int row = 0; row < 3; ++row)
            for (int column = 0; column < 3; ++column)
                if (k == 2 || (row != RestFixes::kDatum && column != RestFixes::kDatum))
                    p(state[row], state[column]) = axis.covariance(row, column);
    }
    if (fixes_.empty() && at_pad()) p(Eskf::kPosition + 2, Eskf::kPosition + 2) = square(kPadHeight_m);
    p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) = attitude_rad2;
    p.block<3, 3>(Eskf::kGyroBias, Eskf::kGyroBias) =
        Matrix3d::Identity() *
        (square(sensors_.gyro_noise_radps) / static_cast<double>(samples_) + square(kSway_radps));

    // At rest f = R^T g up + bias; a turn dtheta of the body changes it by (R^T g up) x dtheta.
    const Vector3d expected = nominal.q_local_body.conjugate() * Vector3d(0, 0, gravity_mps2_);
    // Scale and misalignment of the axes across act here as more bias.
    const double across_mps2 =
        std::hypot(sensors_.accel_scale, sensors_.accel_misalignment_rad) * expected.tail<2>().norm();
    p.diagonal().segment<3>(Eskf::kAccelBias).array() += square(across_mps2);
    // Done for each hypothesis ten times a second: with the parts alone that the force tells of, no other goes with.
    constexpr std::array<int, 3> kFelt{Eskf::kAttitude, Eskf::kAccelBias, Eskf::kAccelScale};
    Eigen::Matrix<double, 9, 9> felt = Eigen::Matrix<double, 9, 9>::Zero();
    for (int k = 0; k < 3; ++k) felt.block<3, 3>(3 * k, 3 * k) = p.block<3, 3>(kFelt[k], kFelt[k]);
    Eigen::Matrix<double, 3, 9> h;
    h << skew(expected), Matrix3d::Identity(), expected.x() * Matrix3d::Identity();
    const Vector3d innovation = mean_accel_ - expected;
    const Matrix3d noise =
        Matrix3d::Identity() * (square(sensors_.accel_noise_mps2) / static_cast<double>(samples_) + square(kSway_mps2));
    const Matrix3d s = h * felt * h.transpose() + noise;
    start.log_weight = -0.5 * (innovation.dot(s.ldlt().solve(innovation)) + std::log(s.determinant()));
    const Eigen::Matrix<double, 9, 1> correction = consider_correct<9, 3>(felt, 6, h, noise) * innovation;
    Eskf::ErrorVector error = Eskf::ErrorVector::Zero();
    for (int k = 0; k < 3; ++k) error.segment<3>(kFelt[k]) = correction.segment<3>(3 * k);
    nominal = Eskf::plus(nominal, error);
    const Matrix3d reset = Eskf::reset_of(correction.head<3>());
    felt.topRows<3>() = (reset * felt.topRows<3>()).eval();
    felt.leftCols<3>() = (felt.leftCols<3>() * reset.transpose()).eval();
    for (int row = 0; row < 3; ++row)
        for (int column = 0; column < 3; ++column)
            p.block<3, 3>(kFelt[row], kFelt[column]) =
                0.5 * (felt.block<3, 3>(3 * row, 3 * column) + felt.block<3, 3>(3 * column, 3 * row).transpose());
    return start;
}

void PadAlignment::hypotheses(std::vector<Alignment>& out) const {
    out.clear();
    const bool anywhere = flown_ && fixes_.empty();
    if (still_s_ < kAlign_s || anywhere) return;
    const Vector3d up_body = mean_accel_.normalized();
    // Shortest rotation that takes measured up to local up; its heading is arbitrary.
    const Eigen::Quaterniond levelled = shortest_rotation(up_body, Vector3d::UnitZ());
    const double unlevel_rad = sensors_.accel_bias_mps2 / gravity_mps2_;
    const double step_rad = 2 * std::numbers::pi / static_cast<double>(kHypotheses);
    // One hypothesis has the heading that the magnetic field suggests.
    const auto toward_field = [&](const Eigen::Quaterniond& q) { return knows_north(q) ? heading_from_field(q) : 0; };
    const auto add = [&](const Eigen::Quaterniond& q, const Matrix3d& attitude_rad2) {
        out.push_back(level(q, attitude_rad2));
        weigh_by_field(out.back());
    };
    // Where nothing tells headings apart, rounding must not: what is shown would jump from one to another.
    const auto likeliest_first = [&] {
        for (Alignment& one : out) one.log_weight = kSameWeight * std::round(one.log_weight / kSameWeight);
        std::iter_swap(out.begin(),
                       std::max_element(out.begin(), out.end(), [](const Alignment& a, const Alignment& b) {
                           return a.log_weight < b.log_weight;
                       }));
    };
    const double rail_rad = radians(site_->launch_tilt_deg);
    if (site_->launch_azimuth_deg && rail_rad > 0 && at_pad()) {
        const double azimuth = radians(*site_->launch_azimuth_deg);
        const Vector3d rail(std::sin(rail_rad) * std::sin(azimuth), std::sin(rail_rad) * std::cos(azimuth),
                            std::cos(rail_rad));
        const Eigen::Quaterniond along = shortest_rotation(Vector3d::UnitX(), rail);
        const Vector3d leans_about = Vector3d::UnitZ().cross(rail).normalized();
        const double first_rad = toward_field(along);
        for (std::size_t k = 0; k < kHypotheses; ++k) {
            const Vector3d roll(first_rad + step_rad * static_cast<double>(k), 0, 0);
            const Eigen::Quaterniond q = along * quaternion_from_rotation_vector(roll);
            add(q, around(Vector3d::UnitX(), kStepFraction * step_rad) +
                       around(q.conjugate() * leans_about, rail_lean_rad_) +
                       around(q.conjugate() * Vector3d::UnitZ(), rail_azimuth_rad_));
        }
        likeliest_first();
        // A vehicle that does not lean as the rail does is not on it.
        const Vector3d missed = out.front().nominal.accel_bias_mps2 / sensors_.accel_bias_mps2;
        if (missed.squaredNorm() < kNotOnRail) return;
        out.clear();
    }
    const double first_rad = toward_field(levelled);
    const Vector3d variance =
        Vector3d::Constant(square(3 * unlevel_rad)) + up_body.cwiseAbs2() * square(kStepFraction * step_rad);
    const Matrix3d attitude_rad2 = variance.asDiagonal();
    for (std::size_t k = 0; k < kHypotheses; ++k) {
        const Vector3d heading(0, 0, first_rad + step_rad * static_cast<double>(k));
        add(quaternion_from_rotation_vector(heading) * levelled, attitude_rad2);
    }
    likeliest_first();
}

} // namespace turnstone::estimate
