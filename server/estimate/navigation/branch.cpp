#include "server/estimate/navigation/branch.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr std::size_t kPastSamples = 512;
constexpr double kAheadMost_s = 0.2;
constexpr double kDelayMost_s = 1.0;
constexpr double kFixJitter_s = 0.01;       // of the delay from fix to fix
constexpr double kFixJitterExact_s = 0.001; // of the station's map of the vehicle's clock
constexpr double kAccelerationOver_s = 0.02;
constexpr double kBendMost_s = 0.2;
constexpr double kNothing = 1e6; // sigma of what was not measured
constexpr double kBridgeStep_s = 0.02;
constexpr double kTumbling_radps = 0.6;
constexpr double kAnyTurn_rad = std::numbers::pi / std::numbers::sqrt3; // evenly spread over the circle
constexpr double kNoseWander_rad_rts = 0.05; // a flight path bends by a few hundredths of a radian a second
constexpr double kNoseWobble = 0.1;          // what a turning rate across leaves, of its size
constexpr double kForceMemory_s = 1.0;

} // namespace

template <int M>
double NavigationBranch::Seen<M>::log_likelihood() const {
    const Eigen::LDLT<Eigen::Matrix<double, M, M>> factor(covariance);
    return -0.5 * (innovation.dot(factor.solve(innovation)) + factor.vectorD().array().max(1e-300).log().sum());
}
template double NavigationBranch::Seen<1>::log_likelihood() const;
template double NavigationBranch::Seen<6>::log_likelihood() const;

NavigationBranch::NavigationBranch(double gravity_mps2)
    : gravity_mps2_(gravity_mps2), filter_(EskfNoise{}, gravity_mps2), past_(kPastSamples) {}

void NavigationBranch::start(const Alignment& alignment, const EskfNoise& noise, std::int64_t t_ns) {
    filter_.reset(alignment.nominal, alignment.covariance, noise);
    log_weight = alignment.log_weight;
    force_x_mps2_ = 0;
    past_.clear();
    shift_ = {0, Vector3d::Zero(), Vector3d::Zero()};
    past_.push({t_ns, alignment.nominal.position_enu_m, alignment.nominal.velocity_enu_mps});
    if (pass_) begin_trail();
}

void NavigationBranch::leave_steps(AttitudePass* pass) {
    pass_ = pass;
    trail_.clear();
    filter_.carry_errors(pass != nullptr);
    if (pass_ && !past_.empty()) begin_trail();
}

void NavigationBranch::begin_trail() {
    filter_.settle();
    const ErrorEstimate now{filter_.nominal(), filter_.covariance()};
    trail_.clear();
    trail_.push_back(std::make_shared<ErrorStep>(past_.back().t_ns, Eskf::Covariance::Zero(), now, now));
    filter_.carry_errors(true);
}

std::optional<ErrorEstimate> NavigationBranch::before_step() {
    if (!pass_) return std::nullopt;
    filter_.settle();
    return ErrorEstimate{filter_.nominal(), filter_.covariance()};
}

void NavigationBranch::leave_step(const std::optional<ErrorEstimate>& before) {
    if (!before || !pass_->take()) return;
    trail_.push_back(std::make_shared<ErrorStep>(past_.back().t_ns, *filter_.carried(), *before,
                                                 ErrorEstimate{filter_.nominal(), filter_.covariance()}));
    filter_.carry_errors(true);
}

ErrorTrail NavigationBranch::trail(const Eskf::Covariance& covariance) const {
    ErrorTrail out = trail_;
    if (!out.empty())
        out.push_back(std::make_shared<ErrorStep>(past_.back().t_ns, *filter_.carried(),
                                                  ErrorEstimate{filter_.nominal(), filter_.covariance()},
                                                  ErrorEstimate{filter_.nominal(), covariance}));
    return out;
}

void NavigationBranch::predict(std::int64_t t_ns, const Vector3d& accel_body_mps2, const Vector3d& rate_body_radps,
                               double dt_s, double accel_inflation, double gyro_inflation) {
    filter_.predict(accel_body_mps2, rate_body_radps, dt_s, accel_inflation, gyro_inflation);
    force_x_mps2_ = accel_body_mps2.x() - filter_.nominal().accel_bias_mps2.x();
    past_.push({t_ns, filter_.nominal().position_enu_m - shift_.position_enu_m,
                filter_.nominal().velocity_enu_mps - shift_.velocity_enu_mps});
}

void NavigationBranch::spin(std::int64_t t_ns, double force_x_mps2, double force_across_mps2, double rate_across_radps,
                            double dt_s, double accel_inflation) {
    const EskfNominal& nominal = filter_.nominal();
    // Biases across the nose turn with it and cancel; so does the gyro's, whose rate is not used at all.
    Vector3d force = nominal.accel_bias_mps2;
    force.x() = force_x_mps2;
    filter_.forget(Eskf::kAttitude, kAnyTurn_rad);
    filter_.break_increments();
    predict(t_ns, force, nominal.gyro_bias_radps, dt_s, accel_inflation, 1);
    filter_.break_increments();
    filter_.forget(Eskf::kAttitude, kAnyTurn_rad);
    const double root_s = std::sqrt(dt_s);
    const double nose_sigma = std::hypot(kNoseWander_rad_rts, kNoseWobble * rate_across_radps) * root_s;
    filter_.inflate(Eskf::kAttitude + 1, nose_sigma);
    filter_.inflate(Eskf::kAttitude + 2, nose_sigma);
    filter_.inflate(Eskf::kVelocity, force_across_mps2 * dt_s);
}

void NavigationBranch::doubt_force(int axis, double sigma_mps2, double since_s, double dt_s) {
    // (sigma t)^2 for errors that are alike, which a sample adds 2 sigma^2 t dt to; beyond its memory t stays.
    const double t_s = std::min(since_s, kForceMemory_s);
    filter_.inflate_velocity(filter_.nominal().q_local_body * Vector3d::Unit(axis),
                             sigma_mps2 * std::sqrt(2 * t_s * dt_s));
}

void NavigationBranch::bridge(std::int64_t t_ns, const Vector3d& accel_before_mps2, const Vector3d& rate_before_radps,
                              const Vector3d& accel_after_mps2, const Vector3d& rate_after_radps, double gap_s,
                              bool tumbles) {
    filter_.break_increments();
    const int steps = std::max(1, static_cast<int>(std::ceil(gap_s / kBridgeStep_s)));
    const double dt_s = gap_s / steps;
    const std::int64_t start_ns = t_ns - seconds_to_ns(gap_s);
    const Vector3d accel_change = accel_after_mps2 - accel_before_mps2;
    const Vector3d rate_change = rate_after_radps - rate_before_radps;
    for (int k = 0; k < steps; ++k) {
        const double part = (k + 0.5) / steps;
        predict(start_ns + seconds_to_ns((k + 1) * dt_s), accel_before_mps2 + part * accel_change,
                rate_before_radps + part * rate_change, dt_s, 1, 1);
    }
    // Between its ends a gap may hide motion like theirs: a constant error of a third of their difference, and a floor
    // for what quiet ends can hide in a long gap.
    const double floor = std::min(1.0, gap_s / 0.2);
    const double accel_sigma = accel_change.norm() / 3 + 2.0 * floor;
    const Vector3d rate_sigma = (rate_change / 3).cwiseAbs().array() + (tumbles ? kTumbling_radps : 0.1) * floor;
    filter_.inflate(Eskf::kVelocity, accel_sigma * gap_s);
    filter_.inflate(Eskf::kPosition, 0.5 * accel_sigma * gap_s * gap_s);
    for (int axis = 0; axis < 3; ++axis) filter_.inflate(Eskf::kAttitude + axis, rate_sigma(axis) * gap_s);
    filter_.break_increments();
}

void NavigationBranch::turn(double roll_rad, double sigma_rad) {
    // What is known across the nose is known alike in every direction after any turn.
    const Matrix3d across = filter_.covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude);
    const double mean = 0.5 * (across(1, 1) + across(2, 2));
    filter_.reset_attitude(filter_.nominal().q_local_body * quaternion_from_rotation_vector({roll_rad, 0, 0}),
                           {sigma_rad * sigma_rad, mean, mean});
}

void NavigationBranch::drift(const Eigen::Vector2d& air_en_mps, double sigma_mps, double gathered_m2ps) {
    const auto before = before_step();
    filter_.settle();
    shift_.velocity_enu_mps.head<2>() += air_en_mps - filter_.nominal().velocity_enu_mps.head<2>();
    filter_.drift(air_en_mps, sigma_mps, gathered_m2ps);
    leave_step(before);
}

void NavigationBranch::absorb(const NavigationBranch& other, double fraction) {
    const Eskf::ErrorVector off = Eskf::error_of(filter_.nominal(), other.nominal());
    const Eskf::Covariance p =
        (1 - fraction) * filter_.covariance() + fraction * (other.filter_.covariance() + off * off.transpose());
    const auto before = before_step();
    filter_.reset(filter_.nominal(), p);
    leave_step(before);
}

bool NavigationBranch::reaches(std::int64_t t_ns) const {
    return !past_.empty() && past_[0].t_ns - t_ns < 20 * kNsPerMs &&
           seconds_between(past_.back().t_ns, t_ns) < kAheadMost_s;
}

NavigationBranch::Past NavigationBranch::past(std::int64_t t_ns) const {
    const std::size_t after = past_.since(t_ns);
    Past out = after == past_.size() ? past_.back() : past_[after];
    if (after == past_.size()) { // newer than the newest inertial sample
        out.position_enu_m += (out.velocity_enu_mps + shift_.velocity_enu_mps) * seconds_between(out.t_ns, t_ns);
    } else if (after > 0) {
        const Past& a = past_[after - 1];
        const double part = static_cast<double>(out.t_ns - t_ns) / static_cast<double>(out.t_ns - a.t_ns);
        out.position_enu_m += part * (a.position_enu_m - out.position_enu_m);
        out.velocity_enu_mps += part * (a.velocity_enu_mps - out.velocity_enu_mps);
    }
    out.position_enu_m += shift_.position_enu_m;
    out.velocity_enu_mps += shift_.velocity_enu_mps;
    return out;
}

NavigationBranch::Seen<6> NavigationBranch::see(const EnuFix& fix) const {
    const EskfNominal& nominal = filter_.nominal();
    const std::int64_t t_valid_ns =
        fix.exact_time ? fix.t_valid_ns : fix.t_valid_ns - seconds_to_ns(nominal.fix_delay_s);
    const Past then = past(t_valid_ns);
    const double delay_s = std::clamp(seconds_between(t_valid_ns, past_.back().t_ns), -kAheadMost_s, kDelayMost_s);
    // Over as much as the delay may be off: where the motion bends within that, at liftoff above all, a derivative
    // alone would learn a delay that is not there. What the bend leaves is noise.
    const double around_s = std::clamp(filter_.sigma(Eskf::kFixDelay), kAccelerationOver_s, kBendMost_s);
    const std::int64_t around_ns = seconds_to_ns(around_s);
    const std::int64_t middle_ns = std::min(t_valid_ns, past_.back().t_ns - around_ns);
    const Past sooner = past(middle_ns - around_ns), middle = past(middle_ns), later = past(middle_ns + around_ns);
    const Vector3d accel_enu_mps2 = (later.velocity_enu_mps - sooner.velocity_enu_mps) / (2 * around_s);
    const Vector3d bend_mps = 0.5 * (later.velocity_enu_mps - 2 * middle.velocity_enu_mps + sooner.velocity_enu_mps);
    const Vector3d bend_m = 0.5 * (later.position_enu_m - 2 * middle.position_enu_m + sooner.position_enu_m);
    const Vector3d felt_mps =
        nominal.velocity_enu_mps - then.velocity_enu_mps + Vector3d(0, 0, gravity_mps2_ * delay_s);
    const Matrix3d rotation = nominal.q_local_body.toRotationMatrix();
    const Matrix3d by_attitude = skew(felt_mps) * rotation;
    Seen<6> out;
    out.observation.setZero();
    out.observation.leftCols<6>().setIdentity();
    out.observation.block<3, 3>(0, Eskf::kVelocity) = -delay_s * Matrix3d::Identity();
    out.observation.block<3, 3>(0, Eskf::kAttitude) = -0.5 * delay_s * by_attitude;
    out.observation.block<3, 3>(0, Eskf::kFixBias).setIdentity();
    out.observation(2, Eskf::kDatum) = 1;
    out.observation.block<3, 3>(3, Eskf::kAttitude) = by_attitude;
    out.observation.block<3, 3>(3, Eskf::kAccelBias) = delay_s * rotation;
    out.observation.block<3, 3>(3, Eskf::kAccelScale) = delay_s * force_x_mps2_ * rotation;
    Eigen::Matrix<double, 6, 1> late;
    late << then.velocity_enu_mps, accel_enu_mps2;
    if (!fix.exact_time) out.observation.col(Eskf::kFixDelay) = -late;
    out.innovation << fix.measured.head<3>() - then.position_enu_m - nominal.fix_bias_m -
                          Vector3d(0, 0, nominal.datum_m),
        fix.measured.tail<3>() - then.velocity_enu_mps;
    out.innovation = out.innovation.cwiseProduct(fix.given);
    for (int row = 0; row < 6; ++row) out.observation.row(row) *= fix.given(row);
    late = (fix.exact_time ? kFixJitterExact_s : kFixJitter_s) * late.cwiseProduct(fix.given);
    out.noise = late * late.transpose();
    Eigen::Matrix<double, 6, 1> bend;
    bend << bend_m, bend_mps;
    if (!fix.exact_time) out.noise.diagonal() += bend.cwiseProduct(fix.given).cwiseAbs2();
    for (int k = 0; k < 6; ++k) out.noise(k, k) += fix.given(k) > 0 ? fix.sigma(k) * fix.sigma(k) : kNothing * kNothing;
    out.covariance = filter_.innovation_covariance<6>(out.observation, out.noise);
    return out;
}

NavigationBranch::Seen<1> NavigationBranch::see(const EnuHeight& height) const {
    Seen<1> out;
    out.observation.setZero();
    out.observation(0, Eskf::kPosition + 2) = 1;
    out.observation.segment<2>(Eskf::kHeightError) = height.slow_m.transpose();
    out.innovation(0) =
        height.above_pad_m - past(height.t_ns).position_enu_m.z() - height.slow_m.dot(filter_.nominal().height_error);
    out.noise(0, 0) = height.noise_m * height.noise_m;
    out.covariance = filter_.innovation_covariance<1>(out.observation, out.noise);
    return out;
}

template <int M>
void NavigationBranch::correct_with_past(const Seen<M>& seen) {
    const auto before_correction = before_step();
    const EskfNominal before = filter_.nominal();
    filter_.correct<M>(seen.innovation, seen.observation, seen.noise);
    shift_.position_enu_m += filter_.nominal().position_enu_m - before.position_enu_m;
    shift_.velocity_enu_mps += filter_.nominal().velocity_enu_mps - before.velocity_enu_mps;
    leave_step(before_correction);
}
void NavigationBranch::correct(const Seen<6>& seen) {
    correct_with_past(seen);
}
void NavigationBranch::correct(const Seen<1>& seen) {
    correct_with_past(seen);
}

void NavigationBranch::give_way(const Seen<6>& seen) {
    filter_.inflate(Eskf::kPosition, seen.innovation.head<3>().norm());
    filter_.inflate(Eskf::kVelocity, seen.innovation.tail<3>().norm());
    filter_.inflate(Eskf::kAttitude, 0.2);
}

} // namespace turnstone::estimate
