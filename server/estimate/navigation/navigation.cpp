#include "server/estimate/navigation/navigation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

/// Chi-square 0.999 by degrees of freedom.
constexpr std::array<double, 7> kGate = {0, 10.827566, 13.815511, 16.266236, 18.466827, 20.515006, 22.457744};
constexpr double kRecovery_s = 3.0;
constexpr double kMoved_mps2 = 4.0; // more than wind and noise, passed within a sample of liftoff
constexpr double kMovedSigmas = 8.0;
constexpr double kGapBridged_s = 5.0;
constexpr double kBridgedTurn_rad = 0.7; // beyond, a linear filter may settle on a wrong attitude
constexpr double kAidedFor_s = 2.0;
constexpr double kClipped = 0.98;        // of the range: quantisation and scale error make the last per cents unsafe
constexpr double kUnexpectedForce = 0.3; // of the range: how far beyond it without a motor to expect
constexpr double kBarelyClipped = 0.05;
constexpr double kSpinEnds_s = 0.1;
constexpr double kRollUnknown_rad = 0.7;
// Under a parachute shocks and swinging act away from the sensor and correlate from sample to sample.
constexpr double kDescentInflation = 2;
// Scale errors and misalignments of the axes across the nose act like noise that changes with the pose, in this time.
constexpr double kPoseTime_s = 2.0;
constexpr double kScatterTime_s = 0.1;
// How long errors of pressure altitudes stay the same number of their sigmas: the day's air the whole flight, ports and
// delay while the motion does; and less where the sigmas change, whose course only resembles that of the errors.
constexpr double kAirTime_s = 300.0;
constexpr double kMotionErrorTime_s = 30.0;
constexpr double kChangeForgets = 0.3; // for each factor e of the sigma
constexpr double kPulse_s = 2.0;
constexpr double kHeightsAlike_s = 5.0;
constexpr double kBehind = 9.0; // in log weight: one in eight thousand
constexpr double kAlike = 1.0;  // squared distance of attitudes, in sigmas
constexpr double kPositionLost_m = 3000;
constexpr double kTiltLost_rad = 1.0;
constexpr double kMotionSigmas = 4.0;
constexpr double kMotionShown_s = 0.5;
constexpr double kRestShown_s = 2.0;
constexpr double kAwaySigmas = 5.0;

bool clipped(double value, double range) {
    return std::abs(value) >= kClipped * range;
}

template <int M>
double nis_of(const Eigen::Matrix<double, M, 1>& innovation, const Eigen::Matrix<double, M, M>& covariance) {
    return innovation.dot(covariance.ldlt().solve(innovation));
}

} // namespace

Navigation::Navigation(const SensorNoise& sensors, const Site& site, const RocketModel* rocket)
    : sensors_(sensors), site_(&site), rocket_(rocket), frame_(site.pad),
      gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      alignment_(sensors, site, gravity_mps2_), motion_alignment_(sensors, gravity_mps2_), fix_noise_(sensors),
      branches_(kBranches, NavigationBranch(gravity_mps2_)) {
    hypotheses_.reserve(kBranches);
}

void Navigation::set_motion(Motion motion) {
    if (motion == Motion::rest && motion_ != Motion::rest) {
        alignment_.clear(); // in the air nothing was at rest
        moved_by_fixes_ = false;
    }
    motion_ = motion;
    at_rest_ = motion == Motion::rest;
    if (!at_rest_) leave_rest(t_ns());
}

void Navigation::leave_rest(std::int64_t t_ns) {
    if (left_rest_) return;
    left_rest_ = true;
    left_rest_ns_ = t_ns;
    // What began within the last sample, below the threshold, has not been integrated.
    for (std::size_t k = 0; k < active_; ++k)
        branches_[k].filter().inflate(Eskf::kVelocity, 0.5 * kMoved_mps2 * interval_s_);
}

void Navigation::lose_attitude() {
    known_ = Alignment{best().nominal(), covariance(), 0};
    active_ = 0;
    spinning_ = false;
    alignment_.clear();
    motion_alignment_.clear();
}

void Navigation::start(std::int64_t t_ns, bool at_rest) {
    if (hypotheses_.empty()) return;
    interval_s_ = std::clamp(alignment_.sample_interval_s(), 1e-4, 0.5);
    const double per_sample = std::sqrt(interval_s_);
    const EskfNoise noise{sensors_.accel_noise_mps2 * per_sample, sensors_.gyro_noise_radps * per_sample,
                          sensors_.accel_bias_walk_mps2_rts, sensors_.gyro_bias_walk_radps_rts};
    active_ = hypotheses_.size();
    for (std::size_t k = 0; k < active_; ++k) branches_[k].start(hypotheses_[k], noise, t_ns);
    rank_branches();
    left_rest_ = !at_rest;
    roll_rad_ = 0;
    clipped_s_.setZero();
    spinning_ = false;
    fix_rejected_since_ns_ = height_rejected_since_ns_ = 0;
    nis_fix_.clear();
    nis_horizontal_.clear();
    nis_vertical_.clear();
    nis_velocity_.clear();
    nis_height_.clear();
}

void Navigation::align_in_motion(const TranslationEstimate& translation) {
    if (active_ > 0 || resting() || !translation.valid || !has_last_) return;
    const MotionFix fix{translation.t_ns, translation.position_enu_m, translation.velocity_enu_mps,
                        translation.covariance.topLeftCorner<6, 6>()};
    motion_alignment_.match(fix, known_ ? *known_ : alignment_.unknown(), hypotheses_);
    if (hypotheses_.empty()) return;
    const double on_s = seconds_between(translation.t_ns, last_.t_ns);
    for (Alignment& one : hypotheses_) one.nominal.position_enu_m += on_s * one.nominal.velocity_enu_mps;
    start(last_.t_ns, false);
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
    std::size_t kept = 1;
    for (std::size_t k = 1; k < active_; ++k)
        if (branches_[k].log_weight > best().log_weight - kBehind) std::swap(branches_[kept++], branches_[k]);
    active_ = kept;
}

void Navigation::merge_alike() {
    for (std::size_t k = 0; k < active_; ++k) {
        const Matrix3d about = branches_[k].filter().covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude);
        const Eigen::LDLT<Matrix3d> factor(about);
        for (std::size_t j = active_; j-- > k + 1;) {
            const Vector3d off = rotation_vector_from_quaternion(branches_[k].nominal().q_local_body.conjugate() *
                                                                 branches_[j].nominal().q_local_body);
            if (off.dot(factor.solve(off)) > kAlike) continue;
            const double ahead = branches_[j].log_weight - branches_[k].log_weight;
            if (ahead > 0) std::swap(branches_[j], branches_[k]);
            const double ratio = std::exp(-std::abs(ahead));
            branches_[k].absorb(branches_[j], ratio / (1 + ratio));
            branches_[k].log_weight += std::log1p(ratio);
            std::swap(branches_[j], branches_[--active_]);
        }
    }
    rank_branches();
}

void Navigation::follow_scatter(const ImuSample& sample) {
    const double forget = std::min(1.0, interval_s_ / kScatterTime_s);
    const double accel2 = (sample.accel_body_mps2 - last_.accel_body_mps2).squaredNorm() / 6;
    const double rate2 = (sample.rate_body_radps - last_.rate_body_radps).squaredNorm() / 6;
    accel_scatter2_ += forget * (accel2 - accel_scatter2_);
    rate_scatter2_ += forget * (rate2 - rate_scatter2_);
    const double dt_s = seconds_between(last_.t_ns, sample.t_ns);
    const double roll_acceleration = (sample.rate_body_radps.x() - last_.rate_body_radps.x()) / dt_s;
    roll_acceleration_radps2_ += std::min(1.0, dt_s / kScatterTime_s) * (roll_acceleration - roll_acceleration_radps2_);
}

void Navigation::imu(const ImuSample& sample) {
    if (!sample.accel_body_mps2.allFinite() || !sample.rate_body_radps.allFinite() ||
        (has_last_ && sample.t_ns <= last_.t_ns))
        return;
    const double gap_s = has_last_ ? seconds_between(last_.t_ns, sample.t_ns) : 0;
    const double moved_mps2 = std::max(kMoved_mps2, kMovedSigmas * sensors_.accel_noise_mps2);
    if (at_rest_ && has_last_ && std::abs(sample.accel_body_mps2.norm() - alignment_.force_at_rest_mps2()) > moved_mps2)
        leave_rest(sample.t_ns);
    const bool still_block = resting() && alignment_.imu(sample);
    if (gap_s > 0) follow_scatter(sample);
    if (moving() && gap_s > kGapBridged_s) {
        lose_attitude();
    } else if (moving() && gap_s > 0) {
        step(sample, gap_s);
    } else if (active_ == 0 && !resting() && gap_s > 0) {
        const bool broken = gap_s > kScatterTime_s ||
                            clipped(sample.accel_body_mps2.cwiseAbs().maxCoeff(), sensors_.accel_range_mps2) ||
                            clipped(sample.rate_body_radps.cwiseAbs().maxCoeff(), sensors_.gyro_range_radps);
        motion_alignment_.imu(sample, gap_s, broken);
    }
    last_ = sample;
    has_last_ = true;
    if (still_block) {
        alignment_.hypotheses(hypotheses_);
        start(sample.t_ns, true);
    }
    if (!moving()) return;
    const Eskf& filter = best().filter();
    const bool useless = filter.sigma(Eskf::kPosition) > kPositionLost_m ||
                         std::max(filter.sigma(Eskf::kAttitude + 1), filter.sigma(Eskf::kAttitude + 2)) > kTiltLost_rad;
    if (useless && !resting())
        lose_attitude();
    else if (!spinning_ && filter.sigma(Eskf::kAttitude) > kRollUnknown_rad)
        restart_roll();
}

void Navigation::step(const ImuSample& sample, double gap_s) {
    roll_rad_ += (sample.rate_body_radps.x() - best().nominal().gyro_bias_radps.x()) * gap_s;
    if (gap_s > 2.5 * interval_s_) {
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].bridge(sample.t_ns, last_.accel_body_mps2, last_.rate_body_radps, sample.accel_body_mps2,
                                sample.rate_body_radps, gap_s, motion_ == Motion::descent);
        }
        const Eskf& filter = best().filter();
        if (std::max(filter.sigma(Eskf::kAttitude + 1), filter.sigma(Eskf::kAttitude + 2)) > kBridgedTurn_rad)
            lose_attitude();
        return;
    }
    const double agitation = motion_ == Motion::descent ? kDescentInflation : 1;
    const double per_sample = std::sqrt(2 * kPoseTime_s / interval_s_);
    const double accel_by_pose = std::hypot(sensors_.accel_scale, sensors_.accel_misalignment_rad) * per_sample *
                                 sample.accel_body_mps2.tail<2>().norm();
    const double rate_by_pose = std::hypot(sensors_.gyro_scale, sensors_.gyro_misalignment_rad) * per_sample *
                                (sample.rate_body_radps - best().nominal().gyro_bias_radps).tail<2>().norm();
    const auto inflation = [agitation](double scatter2, double by_pose, double noise) {
        return std::hypot(agitation * std::max(1.0, std::sqrt(scatter2) / noise), by_pose / noise);
    };
    const double accel_inflation = inflation(accel_scatter2_, accel_by_pose, sensors_.accel_noise_mps2);
    const double gyro_inflation = inflation(rate_scatter2_, rate_by_pose, sensors_.gyro_noise_radps);
    if (spin(sample, gap_s, accel_inflation)) return;
    predict(sample, gap_s, accel_inflation, gyro_inflation);
}

void Navigation::predict(const ImuSample& sample, double gap_s, double accel_inflation, double gyro_inflation) {
    Vector3d accel_mps2 = sample.accel_body_mps2;
    Vector3d doubt_mps2 = Vector3d::Zero();
    for (int axis = 0; axis < 3; ++axis) {
        const bool at_range = clipped(accel_mps2(axis), sensors_.accel_range_mps2);
        clipped_s_(axis) = at_range ? clipped_s_(axis) + gap_s : 0;
        if (!at_range) continue;
        const Force force = axis == 0 ? expected_force(accel_mps2.x(), sample.t_ns)
                                      : Force{accel_mps2(axis), kUnexpectedForce * sensors_.accel_range_mps2};
        accel_mps2(axis) = force.mps2;
        doubt_mps2(axis) = force.sigma_mps2;
    }
    const bool turns_unknown =
        clipped(sample.rate_body_radps.tail<2>().cwiseAbs().maxCoeff(), sensors_.gyro_range_radps);
    for (std::size_t k = 0; k < active_; ++k) {
        NavigationBranch& branch = branches_[k];
        branch.predict(sample.t_ns, accel_mps2, sample.rate_body_radps, gap_s, accel_inflation, gyro_inflation);
        for (int axis = 0; axis < 3; ++axis)
            if (doubt_mps2(axis) > 0) branch.doubt_force(axis, doubt_mps2(axis), clipped_s_(axis), gap_s);
        if (turns_unknown) branch.filter().inflate(Eskf::kAttitude, sensors_.gyro_range_radps * gap_s);
    }
}

Navigation::Force Navigation::expected_force(double reading_mps2, std::int64_t t_ns) const {
    const double at_least = std::abs(reading_mps2);
    const double since_s = seconds_between(left_rest_ns_, t_ns);
    if (!rocket_ || reading_mps2 < 0 || since_s > rocket_->burn_time_s() * (1 + 3 * rocket_->scatter.burn_time))
        return {reading_mps2, kUnexpectedForce * sensors_.accel_range_mps2};
    const double mass_kg = rocket_->mass_kg(since_s);
    const EskfNominal& nominal = best().nominal();
    const double speed_mps = nominal.velocity_enu_mps.norm();
    const double density_kg_m3 = 1.225 * std::exp(-(site_->pad.height_m + nominal.position_enu_m.z()) / 9000);
    const double drag_mps2 = 0.5 * density_kg_m3 * speed_mps * speed_mps * rocket_->reference_area_m2 *
                             rocket_->drag_coefficient.at(speed_mps / 340) / mass_kg;
    const double thrust_mps2 = rocket_->thrust_n.at(since_s) / mass_kg;
    const double sigma = std::hypot(std::hypot(rocket_->scatter.thrust, rocket_->scatter.burn_time) * thrust_mps2,
                                    rocket_->scatter.drag * drag_mps2);
    const double expected = thrust_mps2 - drag_mps2;
    if (expected < at_least) return {at_least * (1 + kBarelyClipped), std::max(sigma, kBarelyClipped * at_least)};
    return {expected, sigma};
}

bool Navigation::spin(const ImuSample& sample, double gap_s, double accel_inflation) {
    if (clipped(sample.rate_body_radps.x(), sensors_.gyro_range_radps)) {
        roll_clipped_ns_ = sample.t_ns;
        if (!spinning_) become_one();
        spinning_ = true;
    } else if (spinning_ && seconds_between(roll_clipped_ns_, sample.t_ns) > kSpinEnds_s) {
        spinning_ = false;
        restart_roll();
    }
    if (!spinning_) return false;
    double force_mps2 = sample.accel_body_mps2.x();
    clipped_s_.x() = clipped(force_mps2, sensors_.accel_range_mps2) ? clipped_s_.x() + gap_s : 0;
    double doubt_mps2 = 0;
    if (clipped_s_.x() > 0) {
        const Force force = expected_force(force_mps2, sample.t_ns);
        force_mps2 = force.mps2;
        doubt_mps2 = force.sigma_mps2;
    }
    branches_[0].spin(sample.t_ns, force_mps2, sample.accel_body_mps2.tail<2>().norm(),
                      sample.rate_body_radps.tail<2>().norm(), gap_s, accel_inflation);
    if (doubt_mps2 > 0) branches_[0].doubt_force(0, doubt_mps2, clipped_s_.x(), gap_s);
    return true;
}

void Navigation::become_one() {
    const Fractions fraction = fractions();
    double weight = fraction[0];
    for (std::size_t k = 1; k < active_; ++k) {
        weight += fraction[k];
        branches_[0].absorb(branches_[k], fraction[k] / weight);
    }
    active_ = 1;
}

void Navigation::restart_roll() {
    become_one();
    const double step_rad = 2 * std::numbers::pi / static_cast<double>(kBranches);
    branches_[0].log_weight = 0;
    for (std::size_t k = 1; k < kBranches; ++k) {
        branches_[k] = branches_[0];
        branches_[k].turn(static_cast<double>(k) * step_rad, PadAlignment::kStepFraction * step_rad);
    }
    branches_[0].turn(0, PadAlignment::kStepFraction * step_rad);
    active_ = kBranches;
}

void Navigation::fix(const FixSample& sample) {
    if (sample.fix_dimensions < 2 || !std::isfinite(sample.latitude_deg) || !std::isfinite(sample.longitude_deg)) {
        fix_noise_.lost(sample.t_ns);
        return;
    }
    const bool has_height = sample.fix_dimensions >= 3 && std::isfinite(sample.height_ellipsoid_m);
    const bool has_velocity = sample.velocity_enu_mps.allFinite();
    const FixNoise::Sigmas sigma = fix_noise_.of(sample);
    EnuFix fix;
    fix.exact_time = sample.t_valid_ns != 0;
    fix.t_valid_ns = fix.exact_time ? sample.t_valid_ns : sample.t_ns - seconds_to_ns(sensors_.fix_delay_s);
    const double z_m = moving() ? best().nominal().position_enu_m.z() : 0;
    fix.measured << frame_.to_enu_m({sample.latitude_deg, sample.longitude_deg,
                                     has_height ? sample.height_ellipsoid_m : site_->pad.height_m + z_m}),
        has_velocity ? sample.velocity_enu_mps : Vector3d(0, 0, 0);
    fix.given << 1, 1, has_height ? 1 : 0, Vector3d::Constant(has_velocity ? 1 : 0);
    fix.sigma << sigma.new_m, sigma.speed_mps, sigma.speed_mps, sigma.speed_mps;
    if (at_rest_) watch_rest(fix, sigma.stated_m, sample.t_ns);
    if (resting() && !left_rest_) {
        if (has_height) alignment_.position(fix.t_valid_ns, fix.measured.head<3>(), sigma.stated_m);
        fix_noise_.start(fix.t_valid_ns, sigma.stated_m);
        fix_used_ = true;
        last_fix_used_ns_ = sample.t_ns;
        return;
    }
    const FixNoise::Wander wander = fix_noise_.wander(fix.t_valid_ns, sigma.stated_m);
    if (!moving()) return;
    for (std::size_t k = 0; k < active_; ++k)
        branches_[k].filter().wander_fix_bias(wander.kept, wander.variance_added_m2);
    if (best().reaches(fix.t_valid_ns)) use_fix(fix, sample.t_ns);
}

void Navigation::watch_rest(const EnuFix& fix, const Vector3d& stated_m, std::int64_t t_ns) {
    const Vector3d speed = fix.measured.tail<3>().cwiseQuotient(fix.sigma.tail<3>());
    const bool fast = fix.given(3) > 0 && speed.squaredNorm() > kMotionSigmas * kMotionSigmas;
    const bool away =
        !alignment_.fixes().empty() && (fix.measured.head<2>() - alignment_.fixes().place_enu_m().head<2>()).norm() >
                                           kAwaySigmas * std::hypot(stated_m.x(), fix.sigma(0));
    if (fast || away) {
        slow_since_ns_ = 0;
        if (moving_since_ns_ == 0) moving_since_ns_ = t_ns;
        if (moved_by_fixes_ || seconds_between(moving_since_ns_, t_ns) < kMotionShown_s) return;
        moved_by_fixes_ = true;
        alignment_.clear();
        leave_rest(t_ns);
        for (std::size_t k = 0; k < active_; ++k)
            if (branches_[k].reaches(fix.t_valid_ns)) branches_[k].give_way(branches_[k].see(fix));
        return;
    }
    moving_since_ns_ = 0;
    if (slow_since_ns_ == 0) slow_since_ns_ = t_ns;
    if (seconds_between(slow_since_ns_, t_ns) > kRestShown_s) moved_by_fixes_ = false;
}

template <int M>
Navigation::Mixture<M> Navigation::mix(const Views<M>& views) const {
    const Fractions fraction = fractions();
    Mixture<M> out{Eigen::Matrix<double, M, 1>::Zero(), Eigen::Matrix<double, M, M>::Zero()};
    for (std::size_t k = 0; k < active_; ++k) out.innovation += fraction[k] * views[k].innovation;
    for (std::size_t k = 0; k < active_; ++k) {
        const Eigen::Matrix<double, M, 1> off = views[k].innovation - out.innovation;
        out.covariance += fraction[k] * (views[k].covariance + off * off.transpose());
    }
    return out;
}

void Navigation::use_fix(const EnuFix& fix, std::int64_t t_ns) {
    Views<6> views;
    for (std::size_t k = 0; k < active_; ++k) views[k] = branches_[k].see(fix);
    const Mixture<6> mixture = mix<6>(views);
    const int degrees = static_cast<int>(fix.given.sum());
    const double nis = nis_of<6>(mixture.innovation, mixture.covariance);
    nis_fix_.add(nis, degrees);
    nis_horizontal_.add(nis_of<2>(mixture.innovation.head<2>(), mixture.covariance.topLeftCorner<2, 2>()), 2);
    if (fix.given(2) > 0) nis_vertical_.add(mixture.innovation(2) * mixture.innovation(2) / mixture.covariance(2, 2));
    if (fix.given(3) > 0)
        nis_velocity_.add(nis_of<3>(mixture.innovation.tail<3>(), mixture.covariance.bottomRightCorner<3, 3>()), 3);
    const bool doubtful = nis > kGate.at(static_cast<std::size_t>(degrees));
    const double widened = doubtful ? nis / degrees : 1;
    for (std::size_t k = 0; k < active_; ++k) {
        if (doubtful) {
            views[k].covariance += (widened - 1) * views[k].noise;
            views[k].noise *= widened;
        }
        branches_[k].log_weight += views[k].log_likelihood();
        branches_[k].correct(views[k]);
    }
    merge_alike();
    if (!doubtful) {
        fix_used_ = true;
        last_fix_used_ns_ = t_ns;
        fix_rejected_since_ns_ = 0;
        return;
    }
    ++rejected_fixes_;
    if (fix_rejected_since_ns_ == 0) {
        fix_rejected_since_ns_ = t_ns;
    } else if (seconds_between(fix_rejected_since_ns_, t_ns) > kRecovery_s) {
        for (std::size_t k = 0; k < active_; ++k) branches_[k].give_way(branches_[k].see(fix));
        fix_rejected_since_ns_ = 0;
    }
}

void Navigation::height(std::int64_t t_ns, double above_pad_m, double noise_m, double air_m, double port_m) {
    const double since_s = std::clamp(seconds_between(t_height_ns_, t_ns), 1e-3, 1.0);
    t_height_ns_ = t_ns;
    if (!moving() || !std::isfinite(above_pad_m) || !std::isfinite(noise_m + air_m + port_m)) return;
    // What the barometer's delay is off by becomes height with speed.
    const double late_m = sensors_.pressure_delay_sigma_s * std::abs(best().nominal().velocity_enu_mps.z());
    const EnuHeight height{
        t_ns - seconds_to_ns(sensors_.pressure_delay_s), above_pad_m, noise_m, {air_m, std::hypot(port_m, late_m)}};
    if (!best().reaches(height.t_ns)) return;
    const Eigen::Array2d grown = (height.slow_m.array().max(noise_m) / height_slow_m_.array().max(noise_m)).log().abs();
    height_slow_m_ = height.slow_m;
    const double kept_air = std::exp(-since_s / kAirTime_s - kChangeForgets * grown(0));
    const double kept_motion = std::exp(-since_s / kMotionErrorTime_s - kChangeForgets * grown(1));
    Views<1> views;
    for (std::size_t k = 0; k < active_; ++k) {
        branches_[k].filter().wander_height_error(kept_air, kept_motion);
        views[k] = branches_[k].see(height);
    }
    const Mixture<1> mixture = mix<1>(views);
    const double nis = mixture.innovation(0) * mixture.innovation(0) / mixture.covariance(0, 0);
    const bool fits = nis <= kGate[1];
    // A charge's pulse is no fault of the filter: what is dropped counts once it lasts.
    if (fits || (height_rejected_since_ns_ != 0 && seconds_between(height_rejected_since_ns_, t_ns) > kPulse_s))
        nis_height_.add(nis);
    if (fits) {
        // Shocks and swinging that the inertial sensors alias are alike for a while: heights a few hundredths of a
        // second apart would explain them by attitude. They count as one in that time.
        const double alike_m = std::hypot(noise_m, air_m) * std::sqrt(std::max(1.0, kHeightsAlike_s / since_s));
        for (std::size_t k = 0; k < active_; ++k) {
            views[k].covariance(0, 0) += alike_m * alike_m - views[k].noise(0, 0);
            views[k].noise(0, 0) = alike_m * alike_m;
            branches_[k].log_weight += views[k].log_likelihood();
            branches_[k].correct(views[k]);
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
            branches_[k].filter().inflate(Eskf::kPosition, views[k].innovation(0));
            branches_[k].filter().inflate(Eskf::kVelocity, 5);
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
        out.mode = resting() ? NavigationMode::aligning : NavigationMode::lost;
        out.waits_for = !has_last_        ? AlignmentWait::no_samples
                        : !at_rest_       ? AlignmentWait::not_at_rest
                        : moved_by_fixes_ ? AlignmentWait::fixes_show_speed
                                          : alignment_.waits_for();
        return out;
    }
    const bool aided = fix_used_ && seconds_between(last_fix_used_ns_, last_.t_ns) < kAidedFor_s;
    out.waits_for = AlignmentWait::none;
    out.mode = resting() ? NavigationMode::at_rest
               : aided   ? NavigationMode::gnss_aided
                         : NavigationMode::dead_reckoning;
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
    out.roll_known = !spinning_;
    out.roll_rate_radps = out.rate_body_radps.x();
    const double rate_noise = std::max(sensors_.gyro_noise_radps, std::sqrt(rate_scatter2_));
    out.roll_rate_sigma_radps = std::hypot(std::hypot(rate_noise, std::sqrt(p(Eskf::kGyroBias, Eskf::kGyroBias))),
                                           sensors_.gyro_scale * out.roll_rate_radps);
    out.roll_acceleration_radps2 = roll_acceleration_radps2_;
    out.roll_acceleration_sigma_radps2 = rate_noise / std::max(kScatterTime_s, interval_s_);
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
