#include "server/estimate/navigation/navigation.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kGateScalar = 10.827566; // chi-square 0.999, 1 degree of freedom
constexpr double kGateSix = 22.457744;    // 6 degrees of freedom
constexpr double kGateAfterSilence = 100; // still rejects a position kilometres off
constexpr double kSilence_s = 1.0;
constexpr double kRecovery_s = 3.0;
constexpr double kMoved_mps2 = 4.0; // away from gravity: more than wind and noise, passed within a sample of liftoff
constexpr double kGapBridged_s = 2.0;
constexpr double kAidedFor_s = 2.0;
constexpr double kClipped = 0.98; // of the range: quantisation and scale error make the last per cents unsafe
constexpr double kAccelClipInflation = 60;
constexpr double kGyroClipInflation = 300;
// Under a parachute shocks and swinging act away from the sensor and correlate from sample to sample.
constexpr double kDescentInflation = 2;
constexpr double kSystematic_s = 20.0;
constexpr double kScatterTime_s = 0.1;
constexpr double kBehind = 9.0; // in log weight: one in eight thousand
constexpr int kSettled = 8;     // fixes
constexpr double kPositionLost_m = 3000;
constexpr double kTiltLost_rad = 1.0;

Vector3d clipped_flags(const Vector3d& value, double range) {
    return (value.cwiseAbs().array() >= kClipped * range).cast<double>();
}

} // namespace

Navigation::Navigation(const SensorNoise& sensors, const Site& site)
    : sensors_(sensors), site_(&site), frame_(site.pad),
      gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      alignment_(sensors, site, gravity_mps2_), branches_(PadAlignment::kHypotheses, NavigationBranch(gravity_mps2_)) {
    hypotheses_.reserve(PadAlignment::kHypotheses);
}

void Navigation::set_motion(Motion motion) {
    if (motion == Motion::rest && motion_ != Motion::rest) alignment_.clear(); // in the air nothing was at rest
    motion_ = motion;
    at_rest_ = motion == Motion::rest;
    left_rest_ = left_rest_ || !at_rest_;
}

void Navigation::start(std::int64_t t_ns) {
    alignment_.hypotheses(hypotheses_);
    if (hypotheses_.empty()) return;
    interval_s_ = std::clamp(alignment_.sample_interval_s(), 1e-4, 0.5);
    const double per_sample = std::sqrt(interval_s_);
    const EskfNoise noise{sensors_.accel_noise_mps2 * per_sample, sensors_.gyro_noise_radps * per_sample,
                          sensors_.accel_bias_walk_mps2_rts, sensors_.gyro_bias_walk_radps_rts};
    active_ = hypotheses_.size();
    for (std::size_t k = 0; k < active_; ++k) branches_[k].start(hypotheses_[k], noise, t_ns);
    rank_branches();
    left_rest_ = false;
    fixes_since_rest_ = 0;
    roll_rad_ = 0;
    fix_rejected_since_ns_ = height_rejected_since_ns_ = 0;
    nis_fix_.clear();
    nis_height_.clear();
}

Navigation::Fractions Navigation::fractions() const {
    Fractions out{};
    double sum = 0;
    for (std::size_t k = 0; k < active_; ++k) {
        out[k] = std::exp(branches_[k].log_weight - best().log_weight);
        sum += out[k];
    }
    for (std::size_t k = 0; k < active_; ++k) out[k] /= sum;
    return out;
}

void Navigation::rank_branches() {
    std::size_t first = 0;
    for (std::size_t k = 1; k < active_; ++k)
        if (branches_[k].log_weight > branches_[first].log_weight) first = k;
    std::swap(branches_[0], branches_[first]);
    const double least = fixes_since_rest_ < kSettled ? best().log_weight - kBehind : best().log_weight;
    std::size_t kept = 1;
    for (std::size_t k = 1; k < active_; ++k)
        if (branches_[k].log_weight > least) std::swap(branches_[kept++], branches_[k]);
    active_ = kept;
}

void Navigation::follow_scatter(const ImuSample& sample) {
    const double forget = std::min(1.0, interval_s_ / kScatterTime_s);
    const double accel2 = (sample.accel_body_mps2 - last_.accel_body_mps2).squaredNorm() / 6;
    const double rate2 = (sample.rate_body_radps - last_.rate_body_radps).squaredNorm() / 6;
    accel_scatter2_ += forget * (accel2 - accel_scatter2_);
    rate_scatter2_ += forget * (rate2 - rate_scatter2_);
}

void Navigation::imu(const ImuSample& sample) {
    if (!sample.accel_body_mps2.allFinite() || !sample.rate_body_radps.allFinite() ||
        (has_last_ && sample.t_ns <= last_.t_ns))
        return;
    const double gap_s = has_last_ ? seconds_between(last_.t_ns, sample.t_ns) : 0;
    if (at_rest_ && has_last_ && std::abs(sample.accel_body_mps2.norm() - gravity_mps2_) > kMoved_mps2)
        left_rest_ = true;
    const bool still_block = at_rest_ && alignment_.imu(sample);
    if (gap_s > 0) follow_scatter(sample);
    if (active_ > 0 && gap_s > kGapBridged_s) {
        active_ = 0;
        alignment_.clear();
    } else if (moving() && gap_s > 0) {
        step(sample, gap_s);
    }
    last_ = sample;
    has_last_ = true;
    if (still_block) start(sample.t_ns);
    if (!moving()) return;
    const Eskf& filter = best().filter();
    const bool useless = filter.sigma(Eskf::kPosition) > kPositionLost_m ||
                         std::max(filter.sigma(Eskf::kAttitude + 1), filter.sigma(Eskf::kAttitude + 2)) > kTiltLost_rad;
    if (useless && !at_rest_) {
        active_ = 0;
        alignment_.clear();
    }
}

void Navigation::step(const ImuSample& sample, double gap_s) {
    roll_rad_ += (sample.rate_body_radps.x() - best().nominal().gyro_bias_radps.x()) * gap_s;
    if (gap_s > 2.5 * interval_s_) {
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].bridge(sample.t_ns, last_.accel_body_mps2, last_.rate_body_radps, sample.accel_body_mps2,
                                sample.rate_body_radps, gap_s, motion_ == Motion::descent);
        }
        return;
    }
    const double agitation = motion_ == Motion::descent ? kDescentInflation : 1;
    double accel_inflation = agitation * std::max(1.0, std::sqrt(accel_scatter2_) / sensors_.accel_noise_mps2);
    double gyro_inflation = agitation * std::max(1.0, std::sqrt(rate_scatter2_) / sensors_.gyro_noise_radps);
    if (clipped_flags(sample.accel_body_mps2, sensors_.accel_range_mps2).any()) accel_inflation = kAccelClipInflation;
    if (clipped_flags(sample.rate_body_radps, sensors_.gyro_range_radps).any()) gyro_inflation = kGyroClipInflation;
    for (std::size_t k = 0; k < active_; ++k) {
        branches_[k].predict(sample.t_ns, sample.accel_body_mps2, sample.rate_body_radps, gap_s, accel_inflation,
                             gyro_inflation);
    }
}

void Navigation::fix(const FixSample& sample) {
    if (sample.fix_dimensions < 2 || !std::isfinite(sample.latitude_deg) || !std::isfinite(sample.longitude_deg))
        return;
    const bool has_height = sample.fix_dimensions >= 3 && std::isfinite(sample.height_ellipsoid_m);
    const bool has_velocity = sample.velocity_enu_mps.allFinite();
    const auto accuracy = [](double reported, double configured) {
        return std::isfinite(reported) && reported > 0 ? std::max(reported, configured) : configured;
    };
    EnuFix fix;
    fix.t_valid_ns = sample.t_ns - seconds_to_ns(sensors_.fix_delay_s);
    const double z_m = moving() ? best().nominal().position_enu_m.z() : 0;
    fix.measured << frame_.to_enu_m({sample.latitude_deg, sample.longitude_deg,
                                     has_height ? sample.height_ellipsoid_m : site_->pad.height_m + z_m}),
        has_velocity ? sample.velocity_enu_mps : Vector3d(0, 0, 0);
    fix.given << 1, 1, has_height ? 1 : 0, Vector3d::Constant(has_velocity ? 1 : 0);
    fix.horizontal_sigma_m = accuracy(sample.accuracy_horizontal_m, sensors_.fix_horizontal_m);
    fix.vertical_sigma_m = accuracy(sample.accuracy_vertical_m, sensors_.fix_vertical_m);
    fix.speed_sigma_mps = sensors_.fix_speed_mps;
    if (at_rest_ && !left_rest_) {
        if (has_height) {
            alignment_.position(fix.measured.head<3>(),
                                {fix.horizontal_sigma_m, fix.horizontal_sigma_m, fix.vertical_sigma_m});
        }
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        return;
    }
    if (!moving() || !best().reaches(fix.t_valid_ns)) return;
    double least_nis = std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < active_; ++k) least_nis = std::min(least_nis, branches_[k].fit(fix).nis);
    nis_fix_.add(least_nis / 6);
    // The covariance only guesses what happened during a silence. To reject the first fixes after it would be to trust
    // dead reckoning over GNSS.
    const bool after_silence = !fix_used_ || seconds_between(last_fix_used_ns_, last_.t_ns) > kSilence_s;
    if (least_nis <= (after_silence ? kGateAfterSilence : kGateSix)) {
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].log_weight += branches_[k].fit(fix).log_likelihood;
            branches_[k].correct(fix);
        }
        ++fixes_since_rest_;
        rank_branches();
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        fix_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_fixes_;
    if (fix_rejected_since_ns_ == 0) {
        fix_rejected_since_ns_ = sample.t_ns;
    } else if (seconds_between(fix_rejected_since_ns_, sample.t_ns) > kRecovery_s) {
        for (std::size_t k = 0; k < active_; ++k) branches_[k].give_way(fix);
        fix_rejected_since_ns_ = 0;
    }
}

void Navigation::height(std::int64_t t_ns, double above_pad_m, double noise_m, double systematic_m) {
    const double since_s = std::clamp(seconds_between(t_height_ns_, t_ns), 1e-3, 1.0);
    t_height_ns_ = t_ns;
    const double total_m = std::hypot(noise_m, systematic_m);
    if (!moving() || !std::isfinite(above_pad_m) || !std::isfinite(total_m) || !best().reaches(t_ns)) return;
    const double nis = best().fit_height(t_ns, above_pad_m, total_m).nis;
    const double sigma_m = std::hypot(noise_m, systematic_m * std::sqrt(kSystematic_s / since_s));
    nis_height_.add(nis);
    if (nis <= kGateScalar) {
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].log_weight += branches_[k].fit_height(t_ns, above_pad_m, sigma_m).log_likelihood;
            branches_[k].correct_height(t_ns, above_pad_m, sigma_m);
        }
        rank_branches();
        height_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_heights_;
    if (height_rejected_since_ns_ == 0) {
        height_rejected_since_ns_ = t_ns;
    } else if (seconds_between(height_rejected_since_ns_, t_ns) > kRecovery_s &&
               estimate().mode != NavigationMode::gnss_aided) {
        // Without GNSS fixes the barometer is all there is to hold the height.
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].inflate(Eskf::kPosition, above_pad_m - branches_[k].nominal().position_enu_m.z());
            branches_[k].inflate(Eskf::kVelocity, 5);
        }
        height_rejected_since_ns_ = 0;
    }
}

void Navigation::mag(const MagSample& sample) {
    // In flight motor, charges and spin make an uncalibrated magnetometer worse than the gyro.
    if (at_rest_) alignment_.mag(sample);
}

Eskf::Covariance Navigation::covariance() const {
    Eskf::Covariance sum = Eskf::Covariance::Zero();
    if (active_ == 1) return best().filter().covariance();
    const Fractions fraction = fractions();
    Vector3d position = Vector3d::Zero();
    Vector3d velocity = Vector3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        position += fraction[k] * branches_[k].nominal().position_enu_m;
        velocity += fraction[k] * branches_[k].nominal().velocity_enu_mps;
    }
    for (std::size_t k = 0; k < active_; ++k) {
        EskfNominal about = best().nominal();
        about.position_enu_m = position;
        about.velocity_enu_mps = velocity;
        const Eskf::ErrorVector off = Eskf::error_of(about, branches_[k].nominal());
        sum += fraction[k] * (branches_[k].filter().covariance() + off * off.transpose());
    }
    return sum;
}

std::optional<TiltInput> Navigation::tilt() const {
    if (active_ == 0) return std::nullopt;
    const Vector3d up_body = best().nominal().q_local_body.conjugate() * Vector3d::UnitZ();
    // Rotation about the vertical itself does not move up.
    const Matrix3d across = Matrix3d::Identity() - up_body * up_body.transpose();
    // The attitude part of covariance() alone, since each inertial sample asks for it.
    const Fractions fraction = fractions();
    Matrix3d attitude = Matrix3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        const Vector3d off = rotation_vector_from_quaternion(best().nominal().q_local_body.conjugate() *
                                                             branches_[k].nominal().q_local_body);
        attitude += fraction[k] * (branches_[k].filter().covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) +
                                   off * off.transpose());
    }
    const Matrix3d p = across * attitude * across;
    return TiltInput{up_body, std::sqrt(std::max(0.0, 0.5 * p.trace()))};
}

NavigationEstimate Navigation::estimate() const {
    NavigationEstimate out;
    out.t_ns = t_ns();
    out.valid = active_ > 0;
    out.hypotheses = active_;
    out.rejected_fixes = rejected_fixes_;
    out.rejected_heights = rejected_heights_;
    if (!out.valid) {
        out.mode = at_rest_ ? NavigationMode::aligning : NavigationMode::lost;
        return out;
    }
    const bool aided = fix_used_ && seconds_between(last_fix_used_ns_, last_.t_ns) < kAidedFor_s;
    out.mode = at_rest_ ? NavigationMode::at_rest : aided ? NavigationMode::gnss_aided : NavigationMode::dead_reckoning;
    const EskfNominal& nominal = best().nominal();
    const Eskf::Covariance p = covariance();
    const Fractions fraction = fractions();
    const auto sigma3 = [&](Eskf::Part part) {
        return Vector3d(p.diagonal().segment<3>(part).cwiseMax(0.0).cwiseSqrt());
    };
    out.position_enu_m = out.velocity_enu_mps = Vector3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        out.position_enu_m += fraction[k] * branches_[k].nominal().position_enu_m;
        out.velocity_enu_mps += fraction[k] * branches_[k].nominal().velocity_enu_mps;
    }
    out.position_sigma_m = sigma3(Eskf::kPosition);
    out.velocity_sigma_mps = sigma3(Eskf::kVelocity);
    out.q_local_body = nominal.q_local_body;
    out.attitude_sigma_rad = sigma3(Eskf::kAttitude);
    out.rate_body_radps = last_.rate_body_radps - nominal.gyro_bias_radps;
    out.accel_bias_mps2 = nominal.accel_bias_mps2;
    out.gyro_bias_radps = nominal.gyro_bias_radps;
    const Vector3d nose = nominal.q_local_body * Vector3d::UnitX();
    const double lean = std::hypot(nose.x(), nose.y());
    out.tilt_rad = std::atan2(lean, nose.z());
    // The nose moves by R (dtheta x e_x); its tilt is a turn about the horizontal axis across it.
    const Vector3d across = lean > 1e-6
                                ? Vector3d(nominal.q_local_body.conjugate() * Vector3d(-nose.y(), nose.x(), 0) / lean)
                                : Vector3d(Vector3d::UnitY());
    out.tilt_sigma_rad = std::sqrt(std::max(0.0, across.dot(p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) * across)));
    const double heading = std::atan2(nose.x(), nose.y());
    out.tilt_heading_rad = heading < 0 ? heading + 2 * std::numbers::pi : heading;
    out.roll_rad = roll_rad_;
    out.nis_fix_mean = nis_fix_.mean();
    out.nis_height_mean = nis_height_.mean();
    out.health_fix = nis_fix_.health();
    out.health_height = nis_height_.health();
    return out;
}

} // namespace turnstone::estimate
