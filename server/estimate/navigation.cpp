#include "server/estimate/navigation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kGateScalar = 10.827566;  // chi-square 0.999, 1 degree of freedom
constexpr double kGateSix = 22.457744;     // 6 degrees of freedom
constexpr double kGateAfterSilence = 100;  // still turns down a position kilometres off
constexpr double kRecovery_s = 3.0;
constexpr int kIterations = 4;             // Gauss-Newton on one angle: the fourth changes nothing that can be seen
constexpr double kMoved_mps2 = 4.0;        // off from gravity: more than wind and noise, found within a sample of lift-off
constexpr double kGapBridged_s = 2.0;
constexpr double kAidedFor_s = 2.0;
constexpr double kClipped = 0.98;          // of the range: quantisation and scale error leave the last per cents unsafe
constexpr double kAccelClipInflation = 60;
constexpr double kGyroClipInflation = 300;
// Under a parachute, shocks and swinging alias into 200 Hz samples and act away from the sensor.
constexpr double kDescentAccelInflation = 4;
constexpr double kDescentGyroInflation = 3;
constexpr double kVibrationInflation = 3;  // motor running
constexpr double kPositionLost_m = 3000;
constexpr double kTiltLost_rad = 1.0;
constexpr double kFixDelaySigma_s = 0.03;

Vector3d clipped_flags(const Vector3d& value, double range) {
    return (value.cwiseAbs().array() >= kClipped * range).cast<double>();
}

} // namespace

Navigation::Navigation(const SensorNoise& sensors, const Site& site)
    : sensors_(sensors), site_(&site), frame_(site.pad),
      gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      alignment_(sensors, site, gravity_mps2_), filter_(EskfNoise{}, gravity_mps2_), past_(512) {}

void Navigation::set_motion(Motion motion) {
    motion_ = motion;
    at_rest_ = motion == Motion::rest;
    left_rest_ = left_rest_ || !at_rest_;
}

void Navigation::start(const Alignment& alignment, std::int64_t t_ns) {
    interval_s_ = std::clamp(alignment.sample_interval_s, 1e-4, 0.5);
    const double per_sample = std::sqrt(interval_s_);
    filter_ = Eskf({sensors_.accel_noise_mps2 * per_sample, sensors_.gyro_noise_rad_s * per_sample,
                    sensors_.accel_bias_walk_mps2_rts, sensors_.gyro_bias_walk_rad_s_rts},
                   gravity_mps2_);
    filter_.reset(alignment.nominal, alignment.covariance);
    aligned_ = true;
    left_rest_ = false;
    roll_rad_ = 0;
    origin_enu_m_ = alignment.nominal.position_enu_m;
    fix_rejected_since_ns_ = height_rejected_since_ns_ = 0;
    nis_fix_.clear();
    nis_height_.clear();
    past_.clear();
    past_.push({t_ns, alignment.nominal.position_enu_m, Vector3d::Zero()});
}

void Navigation::imu(const ImuSample& sample) {
    if (!sample.accel_body_mps2.allFinite() || !sample.rate_body_rad_s.allFinite() ||
        (has_last_ && sample.t_ns <= last_.t_ns)) {
        return;
    }
    const double gap_s = has_last_ ? seconds_between(last_.t_ns, sample.t_ns) : 0;
    const bool still_block = at_rest_ && alignment_.imu(sample);
    if (at_rest_ && !still_block && has_last_ && std::abs(sample.accel_body_mps2.norm() - gravity_mps2_) > kMoved_mps2) {
        left_rest_ = true;
    }
    if (aligned_) {
        if (gap_s > kGapBridged_s) {
            aligned_ = false;
            alignment_.clear();
        } else if (gap_s > 2.5 * interval_s_) {
            bridge(sample, gap_s);
        } else if (gap_s > 0) {
            step(sample);
        }
    }
    last_ = sample;
    has_last_ = true;
    if (still_block) {
        if (const auto found = alignment_.alignment()) {
            start(*found, sample.t_ns);
        }
    }
    if (!aligned_) {
        return;
    }
    roll_rad_ += (sample.rate_body_rad_s.x() - filter_.nominal().gyro_bias_rad_s.x()) * gap_s;
    past_.push({sample.t_ns, filter_.nominal().position_enu_m, filter_.nominal().velocity_enu_mps});
    const bool useless = filter_.sigma(Eskf::kPosition) > kPositionLost_m ||
                         std::max(filter_.sigma(Eskf::kAttitude + 1), filter_.sigma(Eskf::kAttitude + 2)) > kTiltLost_rad;
    if (useless && !at_rest_) {
        aligned_ = false;
        alignment_.clear();
    }
}

void Navigation::step(const ImuSample& sample) {
    const double dt_s = seconds_between(last_.t_ns, sample.t_ns);
    double accel_inflation = 1;
    double gyro_inflation = 1;
    if (motion_ == Motion::boost) {
        accel_inflation = kVibrationInflation;
    } else if (motion_ == Motion::descent) {
        accel_inflation = kDescentAccelInflation;
        gyro_inflation = kDescentGyroInflation;
    }
    if (clipped_flags(sample.accel_body_mps2, sensors_.accel_range_mps2).any()) {
        accel_inflation = kAccelClipInflation;
    }
    if (clipped_flags(sample.rate_body_rad_s, sensors_.gyro_range_rad_s).any()) {
        gyro_inflation = kGyroClipInflation;
    }
    filter_.predict(sample.accel_body_mps2, sample.rate_body_rad_s, dt_s, accel_inflation, gyro_inflation);
}

void Navigation::bridge(const ImuSample& sample, double gap_s) {
    filter_.break_increments();
    const int steps = std::max(1, static_cast<int>(std::ceil(gap_s / 0.02)));
    const double dt_s = gap_s / steps;
    for (int k = 0; k < steps; ++k) {
        const double part = (k + 0.5) / steps;
        const Vector3d accel = last_.accel_body_mps2 + part * (sample.accel_body_mps2 - last_.accel_body_mps2);
        const Vector3d rate = last_.rate_body_rad_s + part * (sample.rate_body_rad_s - last_.rate_body_rad_s);
        filter_.predict(accel, rate, dt_s);
    }
    // Between the ends anything may have happened that is like them; a constant error of a third of their difference, and
    // a floor for what a quiet pair of ends can hide when the gap is long.
    const double floor = std::min(1.0, gap_s / 0.2);
    const double accel_sigma = (sample.accel_body_mps2 - last_.accel_body_mps2).norm() / 3 + 2.0 * floor;
    const double rate_sigma = (sample.rate_body_rad_s - last_.rate_body_rad_s).norm() / 3 + 0.1 * floor;
    filter_.inflate(Eskf::kVelocity, accel_sigma * gap_s);
    filter_.inflate(Eskf::kPosition, 0.5 * accel_sigma * gap_s * gap_s);
    filter_.inflate(Eskf::kAttitude, rate_sigma * gap_s);
    filter_.break_increments();
}

bool Navigation::past(std::int64_t t_ns, Past& out) const {
    if (past_.empty()) {
        return false;
    }
    const std::size_t after = past_.since(t_ns);
    if (after == past_.size()) { // newer than the newest inertial sample: extrapolate, at most a fifth of a second
        const double ahead_s = seconds_between(past_.back().t_ns, t_ns);
        out = past_.back();
        out.position_enu_m += out.velocity_enu_mps * ahead_s;
        return ahead_s < 0.2;
    }
    if (after == 0) {
        out = past_[0];
        return past_[0].t_ns - t_ns < 20 * kNsPerMs;
    }
    const Past& a = past_[after - 1];
    const Past& b = past_[after];
    const double part = static_cast<double>(t_ns - a.t_ns) / static_cast<double>(b.t_ns - a.t_ns);
    out.t_ns = t_ns;
    out.position_enu_m = a.position_enu_m + part * (b.position_enu_m - a.position_enu_m);
    out.velocity_enu_mps = a.velocity_enu_mps + part * (b.velocity_enu_mps - a.velocity_enu_mps);
    return true;
}

void Navigation::shift_past(const EskfNominal& before) {
    const Vector3d position = filter_.nominal().position_enu_m - before.position_enu_m;
    const Vector3d velocity = filter_.nominal().velocity_enu_mps - before.velocity_enu_mps;
    // Only what a delayed measurement can still ask for.
    for (std::size_t k = past_.since(last_.t_ns - kNsPerS); k < past_.size(); ++k) {
        past_[k].position_enu_m += position;
        past_[k].velocity_enu_mps += velocity;
    }
}

bool Navigation::correct_fix(const Past& then, const Eigen::Matrix<double, 6, 1>& measured,
                             const Eigen::Matrix<double, 6, 1>& sigma) {
    using Matrix6 = Eigen::Matrix<double, 6, 6>;
    const Matrix6 noise = sigma.cwiseAbs2().asDiagonal();
    const EskfNominal before = filter_.nominal();
    const Eskf::Covariance& p = filter_.covariance();
    const Vector3d up_body = before.q_local_body.conjugate() * Vector3d::UnitZ();
    // What a heading correction psi does to the horizontal parts beyond its tangent: (R(psi) - I - psi [up]x) x.
    const Vector3d arm_position = then.position_enu_m - origin_enu_m_;
    const auto beyond = [](const Vector3d& x, double psi) {
        const double c = std::cos(psi) - 1;
        const double s = std::sin(psi) - psi;
        return Vector3d(c * x.x() - s * x.y(), s * x.x() + c * x.y(), 0);
    };
    const auto beyond_rate = [](const Vector3d& x, double psi) {
        const double c = -std::sin(psi);
        const double s = std::cos(psi) - 1;
        return Vector3d(c * x.x() - s * x.y(), s * x.x() + c * x.y(), 0);
    };
    Eskf::ErrorVector error = Eskf::ErrorVector::Zero();
    Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
    Eigen::Matrix<double, 6, 1> residual;
    for (int iteration = 0; iteration < kIterations; ++iteration) {
        const double psi = up_body.dot(error.segment<3>(Eskf::kAttitude));
        h.setZero();
        h.leftCols<6>().setIdentity();
        h.block<3, 3>(0, Eskf::kAttitude) = beyond_rate(arm_position, psi) * up_body.transpose();
        h.block<3, 3>(3, Eskf::kAttitude) = beyond_rate(then.velocity_enu_mps, psi) * up_body.transpose();
        residual.head<3>() = measured.head<3>() - then.position_enu_m - error.segment<3>(Eskf::kPosition) -
                             beyond(arm_position, psi);
        residual.tail<3>() = measured.tail<3>() - then.velocity_enu_mps - error.segment<3>(Eskf::kVelocity) -
                             beyond(then.velocity_enu_mps, psi);
        const Eigen::Matrix<double, Eskf::kSize, 6> ph = p * h.transpose();
        const Matrix6 s = h * ph + noise;
        error = ph * s.ldlt().solve(residual + h * error);
    }
    // At the solution, the cost of the measurement: residual and prior together are the innovation's normalised square.
    const double psi = up_body.dot(error.segment<3>(Eskf::kAttitude));
    residual.head<3>() = measured.head<3>() - then.position_enu_m - error.segment<3>(Eskf::kPosition) - beyond(arm_position, psi);
    residual.tail<3>() = measured.tail<3>() - then.velocity_enu_mps - error.segment<3>(Eskf::kVelocity) -
                         beyond(then.velocity_enu_mps, psi);
    const double nis = residual.dot(noise.ldlt().solve(residual)) + error.dot(p.ldlt().solve(error));
    nis_fix_.add(nis / 6);
    // The first fixes after a silence meet what the silence has done, of which the covariance is only a guess; to turn them down
    // for that would be to believe dead reckoning against the sky.
    const bool after_silence = !fix_used_ || seconds_between(last_fix_used_ns_, last_.t_ns) > 1.0;
    if (!(nis <= (after_silence ? kGateAfterSilence : kGateSix))) {
        return false;
    }
    // The filter's own correction with the innovation that leads to `error`, then what lies beyond the tangent.
    const Vector3d position_beyond = beyond(before.position_enu_m - origin_enu_m_, psi);
    const Vector3d velocity_beyond = beyond(before.velocity_enu_mps, psi);
    filter_.correct<6>(residual + h * error, h, noise);
    filter_.displace(position_beyond, velocity_beyond);
    shift_past(before);
    return true;
}

void Navigation::fix(const FixSample& sample) {
    if (!aligned_ || sample.fix_type < 2 || !std::isfinite(sample.latitude_deg) || !std::isfinite(sample.longitude_deg)) {
        return;
    }
    Past then{};
    if (!past(sample.t_ns - seconds_to_ns(sensors_.fix_delay_s), then)) {
        return;
    }
    const bool has_height = sample.fix_type >= 3 && std::isfinite(sample.height_ellipsoid_m);
    const bool has_velocity = sample.velocity_enu_mps.allFinite();
    const auto accuracy = [](double reported, double configured) {
        return std::isfinite(reported) && reported > 0 ? std::max(reported, configured) : configured;
    };
    const double delay_m = then.velocity_enu_mps.norm() * kFixDelaySigma_s;
    const double horizontal = std::hypot(accuracy(sample.accuracy_horizontal_m, sensors_.fix_horizontal_m), delay_m);
    const double vertical = std::hypot(accuracy(sample.accuracy_vertical_m, sensors_.fix_vertical_m), delay_m);
    // What the velocity changes within the uncertainty of its delay.
    const Vector3d accel = filter_.nominal().q_local_body * last_.accel_body_mps2 - Vector3d(0, 0, gravity_mps2_);
    const double speed = std::hypot(sensors_.fix_speed_mps, moving() ? kFixDelaySigma_s * accel.norm() : 0);
    // A part the receiver does not give is measured as what is expected, with a sigma that says nothing.
    constexpr double kNothing = 1e6;
    Eigen::Matrix<double, 6, 1> measured, sigma;
    measured << frame_.to_enu_m({sample.latitude_deg, sample.longitude_deg,
                                 has_height ? sample.height_ellipsoid_m : site_->pad.height_m + then.position_enu_m.z()}),
        has_velocity ? sample.velocity_enu_mps : then.velocity_enu_mps;
    sigma << horizontal, horizontal, has_height ? vertical : kNothing,
        (has_velocity ? Vector3d(speed, speed, 1.5 * speed) : Vector3d::Constant(kNothing));
    if (at_rest_ && !left_rest_) {
        alignment_.position(measured.head<3>(), sigma.head<3>());
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        return;
    }
    if (correct_fix(then, measured, sigma)) {
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        fix_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_fixes_;
    if (fix_rejected_since_ns_ == 0) {
        fix_rejected_since_ns_ = sample.t_ns;
    } else if (seconds_between(fix_rejected_since_ns_, sample.t_ns) > kRecovery_s) {
        filter_.inflate(Eskf::kPosition, (measured.head<3>() - then.position_enu_m).norm());
        filter_.inflate(Eskf::kVelocity, (measured.tail<3>() - then.velocity_enu_mps).norm());
        filter_.inflate(Eskf::kAttitude, 0.2);
        fix_rejected_since_ns_ = 0;
    }
}

void Navigation::height(std::int64_t t_ns, double above_pad_m, double sigma_m) {
    Past then{};
    if (!moving() || !std::isfinite(above_pad_m) || !std::isfinite(sigma_m) || !past(t_ns, then)) {
        return;
    }
    using Scalar = Eigen::Matrix<double, 1, 1>;
    Eskf::Observation<1> h = Eskf::Observation<1>::Zero();
    h(0, Eskf::kPosition + 2) = 1;
    const Scalar innovation(above_pad_m - then.position_enu_m.z());
    const Scalar noise(sigma_m * sigma_m);
    const double nis = filter_.nis<1>(innovation, h, noise);
    nis_height_.add(nis);
    if (nis <= kGateScalar) {
        const EskfNominal before = filter_.nominal();
        filter_.correct<1>(innovation, h, noise);
        shift_past(before);
        height_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_heights_;
    if (height_rejected_since_ns_ == 0) {
        height_rejected_since_ns_ = t_ns;
    } else if (seconds_between(height_rejected_since_ns_, t_ns) > kRecovery_s && estimate().mode != NavigationMode::aided) {
        // Satellite fixes would have kept the height right; without them the barometer is all there is.
        filter_.inflate(Eskf::kPosition, std::abs(innovation(0)));
        filter_.inflate(Eskf::kVelocity, 5);
        height_rejected_since_ns_ = 0;
    }
}

void Navigation::mag(const MagSample& sample) {
    // In flight the motor, the charges and the spin make an uncalibrated magnetometer worse than the gyro.
    if (at_rest_) {
        alignment_.mag(sample);
    }
}

std::optional<TiltInput> Navigation::tilt() const {
    if (!aligned_) {
        return std::nullopt;
    }
    const Vector3d up_body = filter_.nominal().q_local_body.conjugate() * Vector3d::UnitZ();
    // Rotation about the vertical itself does not move up.
    const Matrix3d across = Matrix3d::Identity() - up_body * up_body.transpose();
    const Matrix3d p = across * filter_.covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) * across;
    return TiltInput{up_body, std::sqrt(std::max(0.0, 0.5 * p.trace()))};
}

NavigationEstimate Navigation::estimate() const {
    NavigationEstimate out{};
    out.t_ns = has_last_ ? last_.t_ns : 0;
    out.valid = aligned_;
    out.rejected_fixes = rejected_fixes_;
    out.rejected_heights = rejected_heights_;
    if (!aligned_) {
        out.mode = at_rest_ ? NavigationMode::aligning : NavigationMode::lost;
        return out;
    }
    const bool aided = fix_used_ && seconds_between(last_fix_used_ns_, last_.t_ns) < kAidedFor_s;
    out.mode = at_rest_ ? NavigationMode::pad : aided ? NavigationMode::aided : NavigationMode::dead_reckoning;
    const EskfNominal& nominal = filter_.nominal();
    const auto sigma3 = [&](Eskf::Part part) {
        return Vector3d(filter_.sigma(part), filter_.sigma(part + 1), filter_.sigma(part + 2));
    };
    out.position_enu_m = nominal.position_enu_m;
    out.position_sigma_m = sigma3(Eskf::kPosition);
    out.velocity_enu_mps = nominal.velocity_enu_mps;
    out.velocity_sigma_mps = sigma3(Eskf::kVelocity);
    out.q_local_body = nominal.q_local_body;
    out.attitude_sigma_rad = sigma3(Eskf::kAttitude);
    out.rate_body_rad_s = last_.rate_body_rad_s - nominal.gyro_bias_rad_s;
    out.accel_bias_mps2 = nominal.accel_bias_mps2;
    out.gyro_bias_rad_s = nominal.gyro_bias_rad_s;
    const Vector3d nose = nominal.q_local_body * Vector3d::UnitX();
    out.tilt_rad = std::acos(std::clamp(nose.z(), -1.0, 1.0));
    out.tilt_sigma_rad = tilt()->sigma_rad;
    const double heading = std::atan2(nose.x(), nose.y());
    out.tilt_heading_rad = heading < 0 ? heading + 2 * std::numbers::pi : heading;
    out.roll_rad = roll_rad_;
    out.nis_fix_mean = nis_fix_.mean();
    out.nis_height_mean = nis_height_.mean();
    out.health_fix = nis_fix_.health();
    out.health_height = nis_height_.health();
    return out;
}

} // namespace turnstone
