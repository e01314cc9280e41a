#include "tools/sim/avionics/onboard.hpp"

#include <algorithm>
#include <cmath>

#include "tools/sim/truth/rigid_body.hpp"

namespace turnstone::sim {

namespace {

constexpr double kPadMean = 0.005;        ///< weight of a new inertial sample in the pad's means (1 s)
constexpr double kPadPressureMean = 0.02; ///< weight of a new pressure in the pad's mean (2 s)
constexpr double kAltitudeGain = 0.14;
constexpr double kSpeedGain_hz = 0.30;
constexpr double kPressureGate_m = 40.0;
constexpr int kPressureOutliersMax = 12;
constexpr double kLaunchForce_mps2 = 30.0;
constexpr double kLaunchHold_s = 0.12;
constexpr double kSinkSpeed_mps = 3.0;
constexpr double kSinkHold_s = 0.5;
constexpr double kDownSpeed_mps = 1.2;
constexpr double kDownHold_s = 4.0;

/// The usual short form of the standard atmosphere, without the day's temperature.
double altitude_of(double pressure_pa, double pad_pressure_pa) {
    return 44330.8 * (1.0 - std::pow(pressure_pa / pad_pressure_pa, 0.190263)) *
           std::pow(pad_pressure_pa / 101325.0, 0.190263);
}

} // namespace

OnboardComputer::OnboardComputer(double rail_azimuth_rad, double gravity_mps2)
    : rail_azimuth_rad_(rail_azimuth_rad), gravity_mps2_(gravity_mps2) {}

void OnboardComputer::level(const Eigen::Vector3d& mean_force) {
    q_ = turn_between(mean_force, Eigen::Vector3d::UnitZ());
    const Eigen::Vector3d nose = q_ * Eigen::Vector3d::UnitX();
    if (std::hypot(nose.x(), nose.y()) > 1e-3) {
        // Turn about the vertical until the nose leans the way the rail does; azimuth runs clockwise from
        // north.
        const double turn_rad = std::atan2(nose.x(), nose.y()) - rail_azimuth_rad_;
        q_ = Eigen::Quaterniond(Eigen::AngleAxisd(turn_rad, Eigen::Vector3d::UnitZ())) * q_;
    }
    levelled_ = true;
}

void OnboardComputer::take(const ImuReading& reading) {
    ++count_;
    if (phase_ == OnboardPhase::waiting) {
        const double weight = std::max(kPadMean, 1.0 / count_);
        if (std::abs(reading.accel_body_mps2.norm() - gravity_mps2_) < 3.0 || count_ == 1) {
            mean_force_ += weight * (reading.accel_body_mps2 - mean_force_);
            gyro_bias_ += weight * (reading.rate_body_radps - gyro_bias_);
        }
        if (reading.accel_body_mps2.norm() < gravity_mps2_ + 4.0) level(mean_force_);
    } else if (!levelled_) {
        mean_force_ += (reading.accel_body_mps2 - mean_force_) / count_;
        if (count_ >= 40) level(mean_force_);
    }
    if (levelled_) {
        const Eigen::Vector3d turn = (reading.rate_body_radps - gyro_bias_) * kImuPeriod_s;
        const double angle = turn.norm();
        if (angle > 1e-12) q_ = (q_ * Eigen::Quaterniond(Eigen::AngleAxisd(angle, turn / angle))).normalized();
        double up_mps2 = (q_ * reading.accel_body_mps2).z() - gravity_mps2_;
        if (under_parachute_)
            up_mps2 = 0.0; // hanging and swinging, the attitude is not worth the integral: pressure alone
        altitude_m_ += (vertical_speed_mps_ + 0.5 * up_mps2 * kImuPeriod_s) * kImuPeriod_s;
        vertical_speed_mps_ += up_mps2 * kImuPeriod_s;
    }
    update_phase(reading.accel_body_mps2.x());
}

void OnboardComputer::take(const PressureReading& reading) {
    if (pad_pressure_pa_ <= 0.0) pad_pressure_pa_ = reading.pressure_pa;
    if (phase_ == OnboardPhase::waiting) {
        if (std::abs(reading.pressure_pa - pad_pressure_pa_) < 150.0)
            pad_pressure_pa_ += kPadPressureMean * (reading.pressure_pa - pad_pressure_pa_);
    }
    const double error_m = altitude_of(reading.pressure_pa, pad_pressure_pa_) - altitude_m_;
    if (std::abs(error_m) > kPressureGate_m && ++pressure_outliers_ < kPressureOutliersMax) return;
    if (pressure_outliers_ >= kPressureOutliersMax) {
        altitude_m_ += error_m;
        vertical_speed_mps_ = std::clamp(vertical_speed_mps_, -60.0, 60.0);
    } else {
        altitude_m_ += kAltitudeGain * error_m;
        vertical_speed_mps_ += kSpeedGain_hz * error_m;
    }
    pressure_outliers_ = 0;
}

void OnboardComputer::update_phase(double axial_mps2) {
    const auto held = [&](bool condition, double hold_s) {
        condition_s_ = condition ? condition_s_ + kImuPeriod_s : 0.0;
        if (condition_s_ < hold_s) return false;
        condition_s_ = 0.0;
        return true;
    };
    switch (phase_) {
    case OnboardPhase::waiting:
        if (held(axial_mps2 > kLaunchForce_mps2, kLaunchHold_s)) phase_ = OnboardPhase::flying_up;
        break;
    case OnboardPhase::flying_up:
        if (held(vertical_speed_mps_ < -kSinkSpeed_mps, kSinkHold_s)) phase_ = OnboardPhase::flying_down;
        break;
    case OnboardPhase::flying_down:
        if (held(std::abs(vertical_speed_mps_) < kDownSpeed_mps && altitude_m_ < 150.0, kDownHold_s))
            phase_ = OnboardPhase::down;
        break;
    case OnboardPhase::down: break;
    }
}

void OnboardComputer::charge_fired() {
    if (phase_ == OnboardPhase::waiting) return; // a ground test fires charges without a flight
    phase_ = OnboardPhase::flying_down;
    under_parachute_ = true;
    condition_s_ = 0.0;
}

void OnboardComputer::restart() {
    count_ = 0;
    levelled_ = false;
    mean_force_.setZero();
    gyro_bias_.setZero();
    vertical_speed_mps_ = 0.0;
    altitude_m_ = 0.0;
    pressure_outliers_ = kPressureOutliersMax; // believe the first pressure
    condition_s_ = 0.0;
}

OnboardEstimate OnboardComputer::estimate() const {
    return {phase_, altitude_m_, vertical_speed_mps_, q_};
}

} // namespace turnstone::sim
