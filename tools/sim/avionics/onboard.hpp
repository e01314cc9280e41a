#pragma once
/// The vehicle's own small computer: a simple estimate of attitude, altitude and phase, as flight firmware of
/// this class would make it. It is deliberately crude and shares nothing with the ground's estimators, since the
/// dashboard compares the two.
#include <cstdint>

#include "tools/sim/avionics/sensors.hpp"

namespace turnstone::sim {

/// The dictionary's enumeration of onboard_phase.
enum class OnboardPhase : unsigned char { waiting, flying_up, flying_down, down };

struct OnboardEstimate {
    OnboardPhase phase;
    double altitude_m; ///< above the pad
    double vertical_speed_mps;
    Eigen::Quaterniond q_local_body;
};

class OnboardComputer {
  public:
    /// `rail_azimuth_rad` as typed in by the crew.
    explicit OnboardComputer(double rail_azimuth_rad, double gravity_mps2);
    void take(const ImuReading& reading);
    void take(const PressureReading& reading);
    /// A charge was commanded: the first or a later one.
    void charge_fired();
    /// After a restart only the phase, the pad pressure and whether a charge has fired survive, in non-volatile memory.
    void restart();
    [[nodiscard]] OnboardEstimate estimate() const;

  private:
    void level(const Eigen::Vector3d& mean_force);
    void update_phase(double axial_mps2);

    double rail_azimuth_rad_;
    double gravity_mps2_;
    OnboardPhase phase_ = OnboardPhase::waiting;
    bool under_parachute_ = false;
    double pad_pressure_pa_ = 0.0;
    Eigen::Vector3d mean_force_ = Eigen::Vector3d::Zero(); ///< slow mean on the pad, and since a restart
    Eigen::Vector3d gyro_bias_ = Eigen::Vector3d::Zero();
    std::uint32_t count_ = 0;
    bool levelled_ = false;
    Eigen::Quaterniond q_ = Eigen::Quaterniond::Identity();
    double altitude_m_ = 0.0;
    double vertical_speed_mps_ = 0.0;
    int pressure_outliers_ = 0;
    double condition_s_ = 0.0; ///< how long the condition for the next phase has held
};

} // namespace turnstone::sim
