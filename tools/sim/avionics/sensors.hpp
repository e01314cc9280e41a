#pragma once
/// Sensors as mounted: noise, bias, random walk, lag, quantisation, saturation and the ways they fail.
/// Readings carry the time at which they are complete, seconds from the start of the run.
#include <cstdint>
#include <vector>

#include "shared/vehicle.hpp"
#include "tools/sim/scenario/scenario.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

/// Mean over the 5 ms that end at `t_s`.
struct ImuReading {
    double t_s;
    Eigen::Vector3d accel_body_mps2;
    Eigen::Vector3d rate_body_radps;
};

struct PressureReading {
    double t_s;
    double pressure_pa;
    double temperature_k;
};

struct FixReading {
    double t_s;         ///< when the receiver hands it over
    double t_valid_s;   ///< when it was true
    int fix_dimensions; ///< 1 none (the numbers repeat the last fix), 3 3-D
    int satellites;
    double latitude_deg;
    double longitude_deg;
    double height_msl_m;
    Eigen::Vector3d velocity_enu_mps;
    double accuracy_horizontal_m;
    double accuracy_vertical_m;
};

struct HealthReading {
    double t_s;
    double battery_v;
    bool continuity_drogue;
    bool continuity_main;
    bool storage_ok;
    double imu_temperature_k;
    double free_storage_bytes;
};

inline constexpr double kImuPeriod_s = kTruthStep_s;
inline constexpr double kPressurePeriod_s = 0.040;
inline constexpr double kFixPeriod_s = 0.200;
inline constexpr double kHealthPeriod_s = 0.500;

/// All readings of one run, each sensor's in order of time, and the biases.
struct SensorStream {
    std::vector<ImuReading> imu;
    std::vector<PressureReading> pressure;
    std::vector<FixReading> fix;
    std::vector<HealthReading> health;
    Eigen::Vector3d accel_bias_mps2; ///< at switch-on
    Eigen::Vector3d gyro_bias_radps;
    double pressure_bias_pa;
};

[[nodiscard]] SensorStream sense(const Truth& truth, const Scenario& scenario, std::uint64_t seed);

/// Accelerometer and gyroscope alone (also for the handling cases): 16-bit converter over the range of
/// `noise`.
class InertialSensor {
  public:
    InertialSensor(const SensorNoise& noise, Random random);
    [[nodiscard]] ImuReading read(double t_s, const Eigen::Vector3d& specific_force_mps2,
                                  const Eigen::Vector3d& rate_radps, double vibration_mps2, double vibration_radps);
    [[nodiscard]] const Eigen::Vector3d& accel_bias_mps2() const { return accel_bias_mps2_; }
    [[nodiscard]] const Eigen::Vector3d& gyro_bias_radps() const { return gyro_bias_radps_; }

  private:
    SensorNoise noise_;
    Random random_;
    Eigen::Vector3d accel_bias_mps2_;
    Eigen::Vector3d gyro_bias_radps_;
};

/// Barometer in a vented bay: first-order lag, noise, bias, 1 Pa steps.
class PressureSensor {
  public:
    PressureSensor(const SensorNoise& noise, double lag_s, Random random);
    /// Moves the bay on by `dt_s` towards the pressure at its vents.
    void follow(double vent_pressure_pa, double dt_s);
    /// `pulse_pa` is added as it is (an ejection charge fills the bay itself, not through the vents).
    [[nodiscard]] double read(double pulse_pa);
    [[nodiscard]] double bias_pa() const { return bias_pa_; }

  private:
    SensorNoise noise_;
    double lag_s_;
    Random random_;
    double bias_pa_;
    double bay_pa_ = 0.0; ///< 0: not yet filled
};

} // namespace turnstone::sim
