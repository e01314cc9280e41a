#include "server/estimate/navigation/navigation.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kBridgedTurn_rad = 0.7; // beyond, a linear filter may settle on a wrong attitude
constexpr double kUnexpectedForce = 0.3; // of the range: how far beyond it without a motor to expect
constexpr double kBarelyClipped = 0.05;
constexpr double kSpinEnds_s = 0.1;
// Under a parachute shocks and swinging act away from the sensor and correlate from sample to sample.
constexpr double kDescentInflation = 2;
// Scale errors and misalignments of the axes across the nose act like noise that changes with the pose, in this time.
constexpr double kPoseTime_s = 2.0;

} // namespace

void Navigation::follow_scatter(const ImuSample& sample) {
    const double forget = std::min(1.0, interval_s_ / kAgitationTime_s);
    const double accel2 = (sample.accel_body_mps2 - last_.accel_body_mps2).squaredNorm() / 6;
    const double rate2 = (sample.rate_body_radps - last_.rate_body_radps).squaredNorm() / 6;
    accel_scatter2_ += forget * (accel2 - accel_scatter2_);
    rate_scatter2_ += forget * (rate2 - rate_scatter2_);
    const double dt_s = seconds_between(last_.t_ns, sample.t_ns);
    const double roll_acceleration = (sample.rate_body_radps.x() - last_.rate_body_radps.x()) / dt_s;
    roll_acceleration_radps2_ +=
        std::min(1.0, dt_s / kAgitationTime_s) * (roll_acceleration - roll_acceleration_radps2_);
}

Navigation::Acceleration Navigation::acceleration() const {
    const EskfNominal& nominal = bank_.best().nominal();
    const Vector3d force_mps2 = last_.accel_body_mps2 - nominal.accel_bias_mps2;
    const bool at_range = (clipped_s_.array() > 0).any();
    const double sigma_mps2 = std::max(sensors_.accel_noise_mps2, std::sqrt(accel_scatter2_));
    return {nominal.q_local_body * force_mps2 - gravity_mps2_ * Vector3d::UnitZ(),
            at_range ? std::hypot(sigma_mps2, sensors_.accel_range_mps2) : sigma_mps2};
}

void Navigation::step(const ImuSample& sample, double gap_s) {
    roll_rad_ += (sample.rate_body_radps.x() - bank_.best().nominal().gyro_bias_radps.x()) * gap_s;
    if (gap_s > 2.5 * interval_s_) {
        for (NavigationBranch& branch : bank_.all()) {
            branch.bridge(sample.t_ns, last_.accel_body_mps2, last_.rate_body_radps, sample.accel_body_mps2,
                          sample.rate_body_radps, gap_s, rebooted_ || motion_ == Motion::descent);
        }
        lose_bridged_attitude();
        return;
    }
    const double agitation = motion_ == Motion::descent ? kDescentInflation : 1;
    const double per_sample = std::sqrt(2 * kPoseTime_s / interval_s_);
    const double accel_by_pose = std::hypot(sensors_.accel_scale, sensors_.accel_misalignment_rad) * per_sample *
                                 sample.accel_body_mps2.tail<2>().norm();
    const double rate_by_pose = std::hypot(sensors_.gyro_scale, sensors_.gyro_misalignment_rad) * per_sample *
                                (sample.rate_body_radps - bank_.best().nominal().gyro_bias_radps).tail<2>().norm();
    const auto inflation = [agitation](double scatter2, double by_pose, double noise) {
        return std::hypot(agitation * std::max(1.0, std::sqrt(scatter2) / noise), by_pose / noise);
    };
    const double accel_inflation = inflation(accel_scatter2_, accel_by_pose, sensors_.accel_noise_mps2);
    const double gyro_inflation = inflation(rate_scatter2_, rate_by_pose, sensors_.gyro_noise_radps);
    if (spin(sample, gap_s, accel_inflation)) return;
    predict(sample, gap_s, accel_inflation, gyro_inflation);
}

void Navigation::lose_bridged_attitude() {
    const Eskf& filter = bank_.best().filter();
    if (std::max(filter.sigma(Eskf::kAttitude + 1), filter.sigma(Eskf::kAttitude + 2)) > kBridgedTurn_rad)
        lose_attitude();
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
    for (NavigationBranch& branch : bank_.all()) {
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
    const EskfNominal& nominal = bank_.best().nominal();
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
        if (!spinning_) bank_.become_one();
        spinning_ = true;
    } else if (spinning_ && seconds_between(roll_clipped_ns_, sample.t_ns) > kSpinEnds_s) {
        spinning_ = false;
        bank_.restart_roll();
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
    bank_.all()[0].spin(sample.t_ns, force_mps2, sample.accel_body_mps2.tail<2>().norm(),
                        sample.rate_body_radps.tail<2>().norm(), gap_s, accel_inflation);
    if (doubt_mps2 > 0) bank_.all()[0].doubt_force(0, doubt_mps2, clipped_s_.x(), gap_s);
    return true;
}

} // namespace turnstone::estimate
