#include "tools/sim/avionics/sensors.hpp"

#include <algorithm>
#include <cmath>

#include <GeographicLib/LocalCartesian.hpp>

namespace turnstone::sim {

namespace {

constexpr double kConverterSteps = 32768.0; ///< 16-bit, both signs
constexpr double kPressureStep_pa = 1.0;
constexpr double kPressureMin_pa = 30000.0; ///< the barometer's converter clips here
constexpr double kPressureMax_pa = 120000.0;
/// Specific force must stay high this long before the receiver loses lock, and lock takes this long to come back.
constexpr double kFixLossOnset_s = 0.15;
constexpr double kReacquire_s = 1.4;
constexpr double kColdStart_s = 6.0;

Eigen::Vector3d converted(const Eigen::Vector3d& value, double range) {
    const double step = range / kConverterSteps;
    return value.unaryExpr([&](double v) { return std::clamp(std::round(v / step) * step, -range, range - step); });
}

/// A sensor slower than the inertial one takes every `every`-th truth sample.
std::size_t ticks_per(double period_s) {
    return static_cast<std::size_t>(std::lround(period_s / kTruthStep_s));
}

double pulse_at(const Truth& truth, const EjectionCharge& charge, double t_s) {
    double sum_pa = 0.0;
    for (const Ejection& ejection : truth.events.ejections) {
        const double since_s = t_s - ejection.t_s;
        if (since_s >= 0.0) {
            const double rise = std::min(1.0, since_s / charge.duration_s);
            sum_pa += charge.pressure_pulse_pa * rise * std::exp(-since_s / charge.pressure_decay_s);
        }
    }
    return sum_pa;
}

/// GNSS receiver: white errors, a delay to the hand-over, and loss of lock at high acceleration.
class Receiver {
  public:
    Receiver(const Scenario& scenario, Random random)
        : scenario_(&scenario),
          frame_(scenario.site.pad.latitude_deg, scenario.site.pad.longitude_deg, scenario.site.pad.height_m),
          random_(random) {}

    void feel(const TruthSample& sample) {
        const bool rough = sample.specific_force_body_mps2.norm() > scenario_->airframe.fix_lost_above_mps2;
        rough_s_ = rough ? rough_s_ + kTruthStep_s : 0.0;
        if (rough_s_ > kFixLossOnset_s) locked_again_s_ = sample.t_s + kReacquire_s * random_.uniform(0.7, 1.5);
    }

    [[nodiscard]] FixReading read(const TruthSample& sample, const FlightEvents& events) {
        const SensorNoise& noise = scenario_->vehicle.sensors;
        bool locked = sample.t_s >= locked_again_s_;
        if (scenario_->gnss_lost_at_liftoff && sample.t_s >= events.liftoff_s)
            locked = std::isfinite(events.touchdown_s) && sample.t_s > events.touchdown_s + kColdStart_s;
        const Eigen::Vector3d error = random_.normal3();
        const Eigen::Vector3d speed_error = random_.normal3();
        const double spread = random_.uniform(0.85, 1.2);
        const int satellites = 11 + static_cast<int>(random_.below(4));
        if (locked) {
            const Eigen::Vector3d enu_m =
                sample.position_enu_m + error.cwiseProduct(Eigen::Vector3d(
                                            noise.fix_horizontal_m, noise.fix_horizontal_m, noise.fix_vertical_m));
            double height_m = 0.0;
            frame_.Reverse(enu_m.x(), enu_m.y(), enu_m.z(), last_.latitude_deg, last_.longitude_deg, height_m);
            last_.fix_dimensions = 3;
            last_.satellites = satellites;
            last_.height_msl_m = height_m - scenario_->site.geoid_height_m;
            last_.velocity_enu_mps = sample.velocity_enu_mps + noise.fix_speed_mps * speed_error;
            last_.accuracy_horizontal_m = noise.fix_horizontal_m * spread;
            last_.accuracy_vertical_m = noise.fix_vertical_m * spread;
        } else {
            last_.fix_dimensions = 1;
            last_.satellites = static_cast<int>(random_.below(4));
            last_.accuracy_horizontal_m = 500.0;
            last_.accuracy_vertical_m = 500.0;
        }
        last_.t_valid_s = sample.t_s;
        last_.t_s = sample.t_s + noise.fix_delay_s;
        return last_;
    }

  private:
    const Scenario* scenario_;
    GeographicLib::LocalCartesian frame_; ///< not shared/geodesy.hpp, so that a slip there shows in comparisons
    Random random_;
    double rough_s_ = 0.0;
    double locked_again_s_ = 0.0;
    FixReading last_{};
};

HealthReading health_at(double t_s, const Truth& truth, const Scenario& scenario, Random& random) {
    HealthReading health{};
    health.t_s = t_s;
    double sag_v = 0.0;
    bool continuity[2] = {true, true};
    for (const Ejection& ejection : truth.events.ejections) {
        const double since_s = t_s - ejection.t_s;
        if (since_s >= 0.0) {
            sag_v += 0.9 * std::exp(-since_s / 0.45); // igniter current, then the cells recover
            continuity[std::min<std::size_t>(ejection.parachute, 1)] = false;
        }
    }
    health.battery_v = scenario.airframe.battery_v - 0.00012 * t_s - sag_v + 0.004 * random.normal();
    health.continuity_drogue = continuity[0];
    health.continuity_main = continuity[1];
    health.storage_ok = true;
    health.imu_temperature_k = truth.samples.front().temperature_k + 9.0 - 4.0 * std::exp(-t_s / 300.0);
    health.free_storage_bytes = 3.9e9 - 24000.0 * t_s;
    return health;
}

} // namespace

InertialSensor::InertialSensor(const SensorNoise& noise, Random random) : noise_(noise), random_(random) {
    accel_bias_mps2_ = noise_.accel_bias_mps2 * random_.normal3();
    gyro_bias_radps_ = noise_.gyro_bias_radps * random_.normal3();
}

ImuReading InertialSensor::read(double t_s, const Eigen::Vector3d& specific_force_mps2,
                                const Eigen::Vector3d& rate_radps, double vibration_mps2, double vibration_radps) {
    const double root_s = std::sqrt(kImuPeriod_s);
    accel_bias_mps2_ += noise_.accel_bias_walk_mps2_rts * root_s * random_.normal3();
    gyro_bias_radps_ += noise_.gyro_bias_walk_radps_rts * root_s * random_.normal3();
    const double accel_sigma = std::hypot(noise_.accel_noise_mps2, vibration_mps2);
    const double gyro_sigma = std::hypot(noise_.gyro_noise_radps, vibration_radps);
    ImuReading reading;
    reading.t_s = t_s;
    reading.accel_body_mps2 =
        converted(specific_force_mps2 + accel_bias_mps2_ + accel_sigma * random_.normal3(), noise_.accel_range_mps2);
    reading.rate_body_radps =
        converted(rate_radps + gyro_bias_radps_ + gyro_sigma * random_.normal3(), noise_.gyro_range_radps);
    return reading;
}

PressureSensor::PressureSensor(const SensorNoise& noise, double lag_s, Random random)
    : noise_(noise), lag_s_(lag_s), random_(random), bias_pa_(noise_.pressure_bias_pa * random_.normal()) {}

void PressureSensor::follow(double vent_pressure_pa, double dt_s) {
    if (bay_pa_ <= 0.0 || lag_s_ <= 0.0) {
        bay_pa_ = vent_pressure_pa;
        return;
    }
    bay_pa_ += (vent_pressure_pa - bay_pa_) * (1.0 - std::exp(-dt_s / lag_s_));
}

double PressureSensor::read(double pulse_pa) {
    const double value_pa = bay_pa_ + pulse_pa + bias_pa_ + noise_.pressure_noise_pa * random_.normal();
    return std::clamp(std::round(value_pa / kPressureStep_pa) * kPressureStep_pa, kPressureMin_pa, kPressureMax_pa);
}

SensorStream sense(const Truth& truth, const Scenario& scenario, std::uint64_t seed) {
    SensorStream out;
    const SensorNoise& noise = scenario.vehicle.sensors;
    const Airframe& airframe = scenario.airframe;
    InertialSensor inertial(noise, Random(seed, "inertial"));
    PressureSensor barometer(noise, airframe.barometer_lag_s, Random(seed, "barometer"));
    Receiver receiver(scenario, Random(seed, "receiver"));
    Random health_random(seed, "health");
    Random thermometer(seed, "thermometer");
    out.accel_bias_mps2 = inertial.accel_bias_mps2();
    out.gyro_bias_radps = inertial.gyro_bias_radps();
    out.pressure_bias_pa = barometer.bias_pa();
    out.imu.reserve(truth.samples.size());

    const std::size_t pressure_ticks = ticks_per(kPressurePeriod_s);
    const std::size_t fix_ticks = ticks_per(kFixPeriod_s);
    const std::size_t health_ticks = ticks_per(kHealthPeriod_s);
    double bay_temperature_k = truth.samples.empty() ? 288.15 : truth.samples.front().temperature_k + 2.0;
    double last_pressure_pa = 0.0;
    for (std::size_t i = 0; i < truth.samples.size(); ++i) {
        const TruthSample& sample = truth.samples[i];
        // Motor vibration in proportion to thrust, buffeting in proportion to dynamic pressure.
        const double shake = sample.thrust_fraction + 2.0e-5 * sample.dynamic_pressure_pa;
        out.imu.push_back(inertial.read(sample.t_s, sample.specific_force_body_mps2, sample.rate_body_radps,
                                        airframe.vibration_accel_mps2 * shake, airframe.vibration_rate_radps * shake));
        receiver.feel(sample);
        barometer.follow(sample.pressure_pa + airframe.port_pressure_coefficient * sample.dynamic_pressure_pa,
                         kTruthStep_s);
        const std::size_t tick = i + 1;
        if (tick % pressure_ticks == 0) {
            const bool failed = scenario.barometer_fails_at_ejection && !truth.events.ejections.empty() &&
                                sample.t_s > truth.events.ejections.front().t_s;
            bay_temperature_k += (sample.temperature_k + 2.0 - bay_temperature_k) * kPressurePeriod_s / 120.0;
            const double reading_pa = barometer.read(pulse_at(truth, airframe.ejection, sample.t_s));
            // A failed barometer keeps repeating its last conversion.
            last_pressure_pa = failed && last_pressure_pa > 0.0 ? last_pressure_pa : reading_pa;
            out.pressure.push_back({sample.t_s, last_pressure_pa, bay_temperature_k + 0.05 * thermometer.normal()});
        }
        if (tick % fix_ticks == 0) out.fix.push_back(receiver.read(sample, truth.events));
        if (tick % health_ticks == 0) out.health.push_back(health_at(sample.t_s, truth, scenario, health_random));
    }
    return out;
}

} // namespace turnstone::sim
