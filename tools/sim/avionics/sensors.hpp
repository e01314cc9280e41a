#pragma once
/// All sensors of a vehicle over a run, at the rates of its telemetry. Readings carry the time at which they are
/// complete, seconds from the start of the run.
#include <cstdint>
#include <vector>

#include "shared/vehicle.hpp"
#include "tools/sim/avionics/inertial.hpp"
#include "tools/sim/avionics/receiver.hpp"
#include "tools/sim/scenario/scenario.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

struct PressureReading {
    double t_s;
    double pressure_pa;
    double temperature_k;
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

/// Steered fins, about body x, y, z.
struct FinReading {
    double t_s;
    Eigen::Vector3d commanded_rad;
    Eigen::Vector3d measured_rad;
};

inline constexpr double kHealthPeriod_s = 0.500;

/// One millisecond of what the avionics keep around a firing, until there is time to send it.
struct BurstReading {
    double t_s;
    double axial_mps2;
    double turn_rate_radps;
    double bay_pa;
    double battery_v;
    double current_a;
};
struct Burst {
    double fired_s;
    std::size_t charge; ///< index into FlightSetup::parachutes
    std::vector<BurstReading> readings;
};

/// All readings of one run, each sensor's in order of time, and the biases.
struct SensorStream {
    std::vector<ImuReading> imu;
    std::vector<PressureReading> pressure;
    std::vector<FixReading> fix;
    std::vector<HealthReading> health;
    std::vector<FinReading> fins;    ///< of a vehicle that steers
    std::vector<Burst> burst;        ///< of a tethered test
    Eigen::Vector3d accel_bias_mps2; ///< at switch-on
    Eigen::Vector3d gyro_bias_radps;
    double pressure_bias_pa;
};

[[nodiscard]] SensorStream sense(const Truth& truth, const Scenario& scenario, std::uint64_t seed);

/// Barometer in a vented bay: first-order lag of the bay and of the sensor's own filter, noise, bias, 1 Pa steps.
class PressureSensor {
  public:
    PressureSensor(const SensorNoise& noise, double lag_s, Random random, double filter_s = 0.0);
    /// Moves the bay on by `dt_s` towards the pressure at its vents.
    void follow(double vent_pressure_pa, double dt_s);
    /// `pulse_pa` is added as it is (an ejection charge fills the bay itself, not through the vents).
    [[nodiscard]] double read(double pulse_pa);
    [[nodiscard]] double bias_pa() const { return bias_pa_; }

  private:
    SensorNoise noise_;
    double lag_s_;
    double filter_s_;
    Random random_;
    double bias_pa_;
    double bay_pa_ = 0.0; ///< 0: not yet filled
    double filtered_pa_ = 0.0;
};

} // namespace turnstone::sim
