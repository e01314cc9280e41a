#include "server/estimate/navigation/navigation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kMovedSigmas = 8.0;
constexpr double kGapBridged_s = 5.0;
constexpr double kClipped = 0.98; // of the range: quantisation and scale error make the last per cents unsafe
constexpr double kRollUnknown_rad = 0.7;
constexpr double kPositionLost_m = 3000;
constexpr double kTiltLost_rad = 1.0;

} // namespace

Navigation::Navigation(const SensorNoise& sensors, const Site& site, const RocketModel* rocket)
    : sensors_(sensors), site_(&site), rocket_(rocket), frame_(site.pad),
      gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      alignment_(sensors, site, gravity_mps2_, rocket ? rocket->scatter : FlightScatter{}),
      motion_alignment_(sensors, gravity_mps2_), fix_noise_(sensors), bank_(gravity_mps2_) {
    hypotheses_.reserve(BranchBank::kMost);
}

bool Navigation::clipped(double value, double range) {
    return std::abs(value) >= kClipped * range;
}

void Navigation::set_motion(Motion motion) {
    if (motion == Motion::rest && motion_ != Motion::rest) {
        moved_unfelt_ = false;
        if (motion_ == Motion::moving)
            alignment_.clear(); // set down, perhaps on the pad
        else if (moving())
            alignment_.land(bank_.nominal(), bank_.covariance(), t_ns());
        else
            alignment_.land();
    }
    motion_ = motion;
    at_rest_ = motion == Motion::rest;
    if (!at_rest_) leave_rest(t_ns());
}

void Navigation::leave_steps(AttitudePass* pass) {
    pass_ = pass;
    bank_.leave_steps(pass);
}

void Navigation::leave_last_steps() {
    if (pass_ && moving()) pass_->keep(bank_.best().trail(bank_.covariance()));
}

void Navigation::leave_said() {
    pass_->keep({t_ns(), bank_.best().nominal().q_local_body, bank_.attitude_covariance()});
}

void Navigation::lose_attitude() {
    leave_last_steps();
    known_ = Alignment{bank_.best().nominal(), covariance(), 0};
    bank_.clear();
    spinning_ = false;
    alignment_.clear();
    motion_alignment_.clear();
}

void Navigation::start(std::int64_t t_ns, bool at_rest) {
    if (hypotheses_.empty()) return;
    leave_last_steps();
    interval_s_ = std::clamp(alignment_.sample_interval_s(), 1e-4, 0.5);
    const double per_sample = std::sqrt(interval_s_);
    const EskfNoise noise{sensors_.accel_noise_mps2 * per_sample, sensors_.gyro_noise_radps * per_sample,
                          sensors_.accel_bias_walk_mps2_rts, sensors_.gyro_bias_walk_radps_rts};
    bank_.start(hypotheses_, noise, t_ns);
    if (pass_) leave_said();
    left_rest_ = !at_rest;
    roll_rad_ = 0;
    clipped_s_.setZero();
    spinning_ = false;
    drift_ = {};
    fix_rejected_since_ns_ = height_rejected_since_ns_ = 0;
    nis_fix_.clear();
    nis_horizontal_.clear();
    nis_vertical_.clear();
    nis_velocity_.clear();
    nis_height_.clear();
}

void Navigation::align_in_motion(const TranslationEstimate& translation) {
    if (!bank_.empty() || resting() || !translation.valid || !has_last_) return;
    motion_alignment_.match(translation, known_ ? *known_ : alignment_.unknown(), hypotheses_);
    if (hypotheses_.empty()) return;
    const double on_s = seconds_between(translation.t_ns, last_.t_ns);
    for (Alignment& one : hypotheses_) one.nominal.position_enu_m += on_s * one.nominal.velocity_enu_mps;
    start(last_.t_ns, false);
}

void Navigation::imu(const ImuSample& sample) {
    if (!sample.accel_body_mps2.allFinite() || !sample.rate_body_radps.allFinite() ||
        (has_last_ && sample.t_ns <= last_.t_ns))
        return;
    const double gap_s = has_last_ ? seconds_between(last_.t_ns, sample.t_ns) : 0;
    const bool broken_rest = doubt_rest(sample, gap_s);
    const double moved_mps2 = std::max(kMoved_mps2, kMovedSigmas * sensors_.accel_noise_mps2);
    if (at_rest_ && has_last_ && !broken_rest &&
        std::abs(sample.accel_body_mps2.norm() - alignment_.force_at_rest_mps2()) > moved_mps2)
        leave_rest(sample.t_ns);
    const bool still_block = resting() && !silence_ && alignment_.imu(sample);
    if (gap_s > 0) follow_scatter(sample);
    if (moving() && gap_s > kGapBridged_s) {
        lose_attitude();
    } else if (moving() && gap_s > 0) {
        step(sample, gap_s);
    } else if (bank_.empty() && !resting() && gap_s > 0) {
        const bool broken = gap_s > kAgitationTime_s ||
                            clipped(sample.accel_body_mps2.cwiseAbs().maxCoeff(), sensors_.accel_range_mps2) ||
                            clipped(sample.rate_body_radps.cwiseAbs().maxCoeff(), sensors_.gyro_range_radps);
        motion_alignment_.imu(sample, gap_s, broken);
    }
    last_ = sample;
    has_last_ = true;
    rebooted_ = false;
    if (still_block) {
        alignment_.hypotheses(hypotheses_);
        start(sample.t_ns, true);
    }
    if (!moving()) return;
    const Eskf& filter = bank_.best().filter();
    const bool useless = filter.sigma(Eskf::kPosition) > kPositionLost_m ||
                         std::max(filter.sigma(Eskf::kAttitude + 1), filter.sigma(Eskf::kAttitude + 2)) > kTiltLost_rad;
    if (useless && !resting())
        lose_attitude();
    else if (!spinning_ && filter.sigma(Eskf::kAttitude) > kRollUnknown_rad)
        bank_.restart_roll();
}

void Navigation::mag(const MagSample& sample) {
    // In flight motor, charges and spin make an uncalibrated magnetometer worse than the gyro.
    if (at_rest_) alignment_.mag(sample);
}

Eskf::Covariance Navigation::covariance() const {
    return bank_.empty() ? Eskf::Covariance(Eskf::Covariance::Zero()) : bank_.covariance();
}

std::optional<TiltInput> Navigation::tilt() const {
    if (bank_.empty()) return std::nullopt;
    const Vector3d up_body = bank_.best().nominal().q_local_body.conjugate() * Vector3d::UnitZ();
    // Rotation about the vertical itself does not move up.
    const Matrix3d across = Matrix3d::Identity() - up_body * up_body.transpose();
    const Matrix3d p = across * bank_.attitude_covariance() * across;
    return TiltInput{up_body, std::sqrt(std::max(0.0, 0.5 * p.trace()))};
}

Tilt tilt_of(const Eigen::Quaterniond& q_local_body, const Matrix3d& covariance_rad2) {
    const Vector3d nose = q_local_body * Vector3d::UnitX();
    const double lean = std::hypot(nose.x(), nose.y());
    // The nose moves by R (dtheta x e_x); its tilt is a turn about the horizontal axis across it.
    const Vector3d across = lean > 1e-6 ? Vector3d(q_local_body.conjugate() * Vector3d(-nose.y(), nose.x(), 0) / lean)
                                        : Vector3d(Vector3d::UnitY());
    return {std::atan2(lean, nose.z()), std::sqrt(std::max(0.0, across.dot(covariance_rad2 * across)))};
}

NavigationEstimate Navigation::estimate(const Eskf::Covariance& p) const {
    NavigationEstimate out;
    out.t_ns = t_ns();
    out.valid = !bank_.empty();
    out.hypotheses = bank_.size();
    out.rejected_fixes = rejected_fixes_;
    out.rejected_heights = rejected_heights_;
    if (!out.valid) {
        out.mode = resting() ? NavigationMode::aligning : NavigationMode::lost;
        out.waits_for = !has_last_      ? AlignmentWait::no_samples
                        : !at_rest_     ? AlignmentWait::not_at_rest
                        : moved_unfelt_ ? AlignmentWait::others_show_motion
                                        : alignment_.waits_for();
        return out;
    }
    const bool aided = fix_used_ && seconds_between(last_fix_used_ns_, last_.t_ns) < kAidedFor_s;
    out.waits_for = AlignmentWait::none;
    out.mode = resting() ? NavigationMode::at_rest
               : aided   ? NavigationMode::gnss_aided
                         : NavigationMode::dead_reckoning;
    const EskfNominal nominal = bank_.nominal();
    const auto sigma3 = [&](Eskf::Part part) {
        return Vector3d(p.diagonal().segment<3>(part).cwiseMax(0.0).cwiseSqrt());
    };
    out.position_enu_m = nominal.position_enu_m;
    out.velocity_enu_mps = nominal.velocity_enu_mps;
    out.position_sigma_m = sigma3(Eskf::kPosition);
    out.velocity_sigma_mps = sigma3(Eskf::kVelocity);
    out.q_local_body = nominal.q_local_body;
    out.attitude_sigma_rad = sigma3(Eskf::kAttitude);
    out.rate_body_radps = last_.rate_body_radps - nominal.gyro_bias_radps;
    out.accel_bias_mps2 = nominal.accel_bias_mps2;
    out.gyro_bias_radps = nominal.gyro_bias_radps;
    const Vector3d nose = nominal.q_local_body * Vector3d::UnitX();
    const Tilt tilt = tilt_of(nominal.q_local_body, p.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude));
    out.tilt_rad = tilt.rad;
    out.tilt_sigma_rad = tilt.sigma_rad;
    const double heading = std::atan2(nose.x(), nose.y());
    out.tilt_heading_rad = heading < 0 ? heading + 2 * std::numbers::pi : heading;
    out.roll_rad = roll_rad_;
    out.roll_known = !spinning_;
    out.roll_rate_radps = out.rate_body_radps.x();
    const double rate_noise = std::max(sensors_.gyro_noise_radps, std::sqrt(rate_scatter2_));
    out.roll_rate_sigma_radps = std::hypot(std::hypot(rate_noise, std::sqrt(p(Eskf::kGyroBias, Eskf::kGyroBias))),
                                           sensors_.gyro_scale * out.roll_rate_radps);
    out.roll_acceleration_radps2 = roll_acceleration_radps2_;
    out.roll_acceleration_sigma_radps2 = rate_noise / std::max(kAgitationTime_s, interval_s_);
    out.fix_bias_m = nominal.fix_bias_m;
    out.fix_bias_sigma_m = sigma3(Eskf::kFixBias);
    out.fix_delay_s = nominal.fix_delay_s;
    out.fix_delay_sigma_s = std::sqrt(p(Eskf::kFixDelay, Eskf::kFixDelay));
    out.pad_datum_m = nominal.datum_m;
    out.pad_datum_sigma_m = std::sqrt(p(Eskf::kDatum, Eskf::kDatum));
    out.nis_fix_mean = nis_fix_.mean();
    out.nis_height_mean = nis_height_.mean();
    out.health_fix_horizontal = nis_horizontal_.health();
    out.health_fix_vertical = nis_vertical_.health();
    out.health_fix_velocity = nis_velocity_.health();
    out.health_fix = graver(graver(out.health_fix_horizontal, out.health_fix_vertical), out.health_fix_velocity);
    out.health_height = nis_height_.health();
    return out;
}

} // namespace turnstone::estimate
