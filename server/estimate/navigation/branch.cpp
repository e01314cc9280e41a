#include "server/estimate/navigation/branch.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr std::size_t kPastSamples = 512;
constexpr double kAheadMost_s = 0.2;
constexpr double kFixDelaySigma_s = 0.03;
constexpr double kNothing = 1e6; // sigma of what was not measured
constexpr double kBridgeStep_s = 0.02;
constexpr double kTumbling_radps = 0.6;
constexpr double kTurnedMost_rad = 0.7;

} // namespace

NavigationBranch::NavigationBranch(double gravity_mps2)
    : gravity_mps2_(gravity_mps2), filter_(EskfNoise{}, gravity_mps2), past_(kPastSamples) {}

void NavigationBranch::start(const Alignment& alignment, const EskfNoise& noise, std::int64_t t_ns) {
    filter_ = Eskf(noise, gravity_mps2_);
    filter_.reset(alignment.nominal, alignment.covariance);
    log_weight = alignment.log_weight;
    accel_enu_mps2_ = Vector3d::Zero();
    force_body_mps2_ = alignment.nominal.q_local_body.conjugate() * Vector3d(0, 0, gravity_mps2_);
    past_.clear();
    past_.push({t_ns, alignment.nominal.position_enu_m, Vector3d::Zero()});
}

void NavigationBranch::predict(std::int64_t t_ns, const Vector3d& accel_body_mps2, const Vector3d& rate_body_radps,
                               double dt_s, double accel_inflation, double gyro_inflation) {
    filter_.predict(accel_body_mps2, rate_body_radps, dt_s, accel_inflation, gyro_inflation);
    force_body_mps2_ = accel_body_mps2 - filter_.nominal().accel_bias_mps2;
    accel_enu_mps2_ = filter_.nominal().q_local_body * force_body_mps2_ - Vector3d(0, 0, gravity_mps2_);
    past_.push({t_ns, filter_.nominal().position_enu_m, filter_.nominal().velocity_enu_mps});
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
    const double rate_sigma = rate_change.norm() / 3 + (tumbles ? kTumbling_radps : 0.1) * floor;
    filter_.inflate(Eskf::kVelocity, accel_sigma * gap_s);
    filter_.inflate(Eskf::kPosition, 0.5 * accel_sigma * gap_s * gap_s);
    filter_.inflate(Eskf::kAttitude,
                    std::min(kTurnedMost_rad, rate_sigma * gap_s)); // beyond, no linear filter finds it again
    filter_.break_increments();
}

bool NavigationBranch::reaches(std::int64_t t_ns) const {
    return !past_.empty() && past_[0].t_ns - t_ns < 20 * kNsPerMs &&
           seconds_between(past_.back().t_ns, t_ns) < kAheadMost_s;
}

NavigationBranch::Past NavigationBranch::past(std::int64_t t_ns) const {
    const std::size_t after = past_.since(t_ns);
    if (after == past_.size()) { // newer than the newest inertial sample
        Past out = past_.back();
        out.position_enu_m += out.velocity_enu_mps * seconds_between(out.t_ns, t_ns);
        return out;
    }
    if (after == 0) return past_[0];
    const Past& a = past_[after - 1];
    const Past& b = past_[after];
    const double part = static_cast<double>(t_ns - a.t_ns) / static_cast<double>(b.t_ns - a.t_ns);
    return {t_ns, a.position_enu_m + part * (b.position_enu_m - a.position_enu_m),
            a.velocity_enu_mps + part * (b.velocity_enu_mps - a.velocity_enu_mps)};
}

void NavigationBranch::shift_past(const EskfNominal& before) {
    const Vector3d position = filter_.nominal().position_enu_m - before.position_enu_m;
    const Vector3d velocity = filter_.nominal().velocity_enu_mps - before.velocity_enu_mps;
    // Keep only what a delayed measurement can still ask for.
    for (std::size_t k = past_.since(past_.back().t_ns - kNsPerS); k < past_.size(); ++k) {
        past_[k].position_enu_m += position;
        past_[k].velocity_enu_mps += velocity;
    }
}

NavigationBranch::FixObservation NavigationBranch::observe(const EnuFix& fix) const {
    const Past then = past(fix.t_valid_ns);
    const double delay_s = std::clamp(seconds_between(fix.t_valid_ns, past_.back().t_ns), -kAheadMost_s, 1.0);
    FixObservation out;
    out.observation.setZero();
    out.observation.leftCols<6>().setIdentity();
    out.observation.block<3, 3>(0, Eskf::kVelocity) = -delay_s * Matrix3d::Identity();
    out.observation.block<3, 3>(3, Eskf::kAttitude) =
        delay_s * filter_.nominal().q_local_body.toRotationMatrix() * skew(force_body_mps2_);
    out.innovation.head<3>() = fix.measured.head<3>() - then.position_enu_m;
    out.innovation.tail<3>() = fix.measured.tail<3>() - then.velocity_enu_mps;
    out.innovation = out.innovation.cwiseProduct(fix.given);
    // The uncertainty of the delay as distance and change of velocity, along their own directions.
    out.noise.setZero();
    Eigen::Matrix<double, 6, 1> late;
    late << then.velocity_enu_mps, accel_enu_mps2_;
    late = kFixDelaySigma_s * late.cwiseProduct(fix.given);
    out.noise = late * late.transpose();
    const Eigen::Matrix<double, 6, 1> sigma =
        (Eigen::Matrix<double, 6, 1>() << fix.horizontal_sigma_m, fix.horizontal_sigma_m, fix.vertical_sigma_m,
         fix.speed_sigma_mps, fix.speed_sigma_mps, 1.5 * fix.speed_sigma_mps)
            .finished();
    for (int k = 0; k < 6; ++k) out.noise(k, k) += fix.given(k) > 0 ? sigma(k) * sigma(k) : kNothing * kNothing;
    return out;
}

NavigationBranch::Fit NavigationBranch::fit(const EnuFix& fix) const {
    const FixObservation m = observe(fix);
    const Eigen::LDLT<Eigen::Matrix<double, 6, 6>> factor(filter_.innovation_covariance<6>(m.observation, m.noise));
    const double nis = m.innovation.dot(factor.solve(m.innovation));
    return {nis, -0.5 * (nis + factor.vectorD().array().max(1e-300).log().sum())};
}

void NavigationBranch::correct(const EnuFix& fix) {
    const FixObservation m = observe(fix);
    const EskfNominal before = filter_.nominal();
    filter_.correct<6>(m.innovation, m.observation, m.noise);
    shift_past(before);
}

void NavigationBranch::give_way(const EnuFix& fix) {
    const FixObservation m = observe(fix);
    filter_.inflate(Eskf::kPosition, m.innovation.head<3>().norm());
    filter_.inflate(Eskf::kVelocity, m.innovation.tail<3>().norm());
    filter_.inflate(Eskf::kAttitude, 0.2);
}

NavigationBranch::Fit NavigationBranch::fit_height(std::int64_t t_ns, double above_pad_m, double sigma_m) const {
    const double innovation_m = above_pad_m - past(t_ns).position_enu_m.z();
    const double variance_m2 = filter_.covariance()(Eskf::kPosition + 2, Eskf::kPosition + 2) + sigma_m * sigma_m;
    const double nis = innovation_m * innovation_m / variance_m2;
    return {nis, -0.5 * (nis + std::log(variance_m2))};
}

void NavigationBranch::correct_height(std::int64_t t_ns, double above_pad_m, double sigma_m) {
    using Scalar = Eigen::Matrix<double, 1, 1>;
    Eskf::Observation<1> h = Eskf::Observation<1>::Zero();
    h(0, Eskf::kPosition + 2) = 1;
    const EskfNominal before = filter_.nominal();
    filter_.correct<1>(Scalar(above_pad_m - past(t_ns).position_enu_m.z()), h, Scalar(sigma_m * sigma_m));
    shift_past(before);
}

} // namespace turnstone::estimate
