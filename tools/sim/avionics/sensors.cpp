#include "tools/sim/avionics/sensors.hpp"

#include <algorithm>
#include <cmath>

#include "tools/sim/avionics/burst.hpp"
#include "tools/sim/avionics/failing.hpp"

namespace turnstone::sim {

namespace {

constexpr double kPressureStep_pa = 1.0;
constexpr double kPressureMin_pa = 30000.0; ///< the barometer's converter clips here
constexpr double kPressureMax_pa = 120000.0;
/// Truth samples between two readings of a sensor; 0: it has none.
std::size_t ticks_per(double rate_hz) {
    return rate_hz > 0.0 ? static_cast<std::size_t>(std::lround(1.0 / (rate_hz * kTruthStep_s))) : 0;
}

bool is_due(std::size_t tick, std::size_t ticks) {
    return ticks > 0 && tick % ticks == 0;
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

/// The die warms to its working temperature after switch-on, some minutes before the run begins.
double die_warmth_k(double t_s) {
    return 9.0 - 4.0 * std::exp(-t_s / 300.0);
}

HealthReading health_at(const TruthSample& sample, const Truth& truth, const Scenario& scenario, Random& random) {
    HealthReading health{};
    const double t_s = sample.t_s;
    health.t_s = t_s;
    double sag_v = sample.battery_sag_v;
    bool continuity[2] = {true, true};
    for (const Ejection& ejection : truth.events.ejections) {
        const double since_s = t_s - ejection.t_s;
        if (since_s >= 0.0) {
            if (truth.firings.empty())
                sag_v += 0.9 * std::exp(-since_s / 0.45); // igniter current, then the cells recover
            continuity[std::min<std::size_t>(ejection.parachute, 1)] = false;
        }
    }
    health.battery_v = scenario.airframe.battery_v - 0.00012 * t_s - sag_v + 0.004 * random.normal();
    health.continuity_drogue = continuity[0];
    health.continuity_main = continuity[1];
    health.storage_ok = true;
    health.imu_temperature_k = truth.samples.front().temperature_k + die_warmth_k(t_s);
    health.free_storage_bytes = 3.9e9 - 24000.0 * t_s;
    return health;
}

} // namespace

PressureSensor::PressureSensor(const SensorNoise& noise, double lag_s, Random random, double filter_s)
    : noise_(noise), lag_s_(lag_s), filter_s_(filter_s), random_(random),
      bias_pa_(noise_.pressure_bias_pa * random_.normal()) {}

void PressureSensor::follow(double vent_pressure_pa, double dt_s) {
    const auto part = [dt_s](double lag_s) { return lag_s > 0.0 ? 1.0 - std::exp(-dt_s / lag_s) : 1.0; };
    if (bay_pa_ <= 0.0) bay_pa_ = filtered_pa_ = vent_pressure_pa;
    bay_pa_ += (vent_pressure_pa - bay_pa_) * part(lag_s_);
    filtered_pa_ += (bay_pa_ - filtered_pa_) * part(filter_s_);
}

double PressureSensor::read(double pulse_pa) {
    const double value_pa = filtered_pa_ + pulse_pa + bias_pa_ + noise_.pressure_noise_pa * random_.normal();
    return std::clamp(std::round(value_pa / kPressureStep_pa) * kPressureStep_pa, kPressureMin_pa, kPressureMax_pa);
}

namespace {

/// The inertial sensor with its own filter, and the means over as many of its samples as make one that is sent.
class InertialChannel {
  public:
    InertialChannel(const Scenario& scenario, std::uint64_t seed, std::size_t ticks)
        : ticks_(ticks),
          sensor_(as_sent(scenario.vehicle.sensors, ticks), Random(seed, "inertial"),
                  draw_unit(scenario.errors.inertial, scenario.errors.shape, Random(seed, "inertial unit"))),
          pass_(scenario.vehicle.sensors.imu_group_delay_s > 0.0
                    ? 1.0 - std::exp(-kTruthStep_s / scenario.vehicle.sensors.imu_group_delay_s)
                    : 1.0) {}

    void feel(const TruthSample& sample, const Surroundings& around, std::vector<ImuReading>& out) {
        if (ticks_ == 0) return;
        if (count_ == 0 && out.empty()) {
            force_ = sample.specific_force_body_mps2;
            rate_ = sample.rate_body_radps;
        }
        // A first-order filter delays what it passes by its time constant.
        force_ += pass_ * (sample.specific_force_body_mps2 - force_);
        rate_ += pass_ * (sample.rate_body_radps - rate_);
        const ImuReading reading = sensor_.read(sample.t_s, force_, rate_, around);
        accel_sum_ += reading.accel_body_mps2;
        rate_sum_ += reading.rate_body_radps;
        if (++count_ < ticks_) return;
        const auto n = static_cast<double>(count_);
        out.push_back({sample.t_s, accel_sum_ / n, rate_sum_ / n});
        accel_sum_.setZero();
        rate_sum_.setZero();
        count_ = 0;
    }
    [[nodiscard]] const InertialSensor& sensor() const { return sensor_; }

  private:
    /// vehicle.json states the noise of what is sent, which is a mean of `ticks` samples.
    static SensorNoise as_sent(SensorNoise noise, std::size_t ticks) {
        const double root = std::sqrt(static_cast<double>(std::max<std::size_t>(ticks, 1)));
        noise.accel_noise_mps2 *= root;
        noise.gyro_noise_radps *= root;
        return noise;
    }

    std::size_t ticks_;
    InertialSensor sensor_;
    double pass_; ///< of the sensor's own filter, in one step
    Eigen::Vector3d force_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d rate_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d accel_sum_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d rate_sum_ = Eigen::Vector3d::Zero();
    std::size_t count_ = 0;
};

struct BarometerUnit {
    double port;
    double lag_s;
    double filter_s;
};

BarometerUnit draw_barometer(const Scenario& scenario, Random random) {
    const BarometerErrors& errors = scenario.errors.barometer;
    const double port = draw(random, scenario.errors.bounded);
    const double lag = std::max(0.2, 1.0 + errors.lag * draw(random, scenario.errors.shape));
    const double filter_s = draw_between(random, scenario.errors.bounded, errors.filter_low_s, errors.filter_high_s);
    return {errors.port ? *errors.port * port : scenario.airframe.port_pressure_coefficient,
            lag * scenario.airframe.barometer_lag_s, std::max(scenario.barometer_filter_s, filter_s)};
}

/// What measures the deflections: a scale and a zero for each axis, and noise.
class FinSensor {
  public:
    FinSensor(const Scenario& scenario, std::uint64_t seed)
        : noise_rad_(scenario.airframe.fins ? scenario.airframe.fins->noise_rad : 0.0), random_(seed, "fin sensor") {
        for (Eigen::Index k = 0; k < 3; ++k) {
            scale_[k] = 1.0 + scenario.errors.fins.scale * draw(random_, scenario.errors.shape);
            bias_rad_[k] = scenario.errors.fins.bias_rad * draw(random_, scenario.errors.shape);
        }
    }
    [[nodiscard]] FinReading read(const TruthSample& sample) {
        return {sample.t_s, sample.fin_command_rad,
                scale_.cwiseProduct(sample.fin_rad) + bias_rad_ + noise_rad_ * random_.normal3()};
    }

  private:
    double noise_rad_;
    Random random_;
    Eigen::Vector3d scale_ = Eigen::Vector3d::Ones();
    Eigen::Vector3d bias_rad_ = Eigen::Vector3d::Zero();
};

} // namespace

SensorStream sense(const Truth& truth, const Scenario& scenario, std::uint64_t seed) {
    SensorStream out;
    const Airframe& airframe = scenario.airframe;
    const std::size_t imu_ticks = ticks_per(scenario.telemetry.imu_hz);
    const std::size_t pressure_ticks = ticks_per(scenario.telemetry.pressure_hz);
    const std::size_t fix_ticks = ticks_per(scenario.telemetry.fix_hz);
    const std::size_t fin_ticks = ticks_per(scenario.telemetry.fins_hz);
    const std::size_t health_ticks = ticks_per(1.0 / kHealthPeriod_s);
    InertialChannel inertial(scenario, seed, imu_ticks);
    const BarometerUnit unit = draw_barometer(scenario, Random(seed, "barometer unit"));
    PressureSensor barometer(scenario.vehicle.sensors, unit.lag_s, Random(seed, "barometer"), unit.filter_s);
    Receiver receiver(scenario, seed);
    FinSensor fins(scenario, seed);
    Random health_random(seed, "health");
    Random thermometer(seed, "thermometer");
    out.accel_bias_mps2 = inertial.sensor().accel_bias_mps2();
    out.gyro_bias_radps = inertial.sensor().gyro_bias_radps();
    out.pressure_bias_pa = barometer.bias_pa();
    out.imu.reserve(imu_ticks > 0 ? truth.samples.size() / imu_ticks : 0);

    double bay_temperature_k = truth.samples.empty() ? 288.15 : truth.samples.front().temperature_k + 2.0;
    double last_pressure_pa = 0.0;
    FailingBarometer fail(truth, scenario, Random(seed, "failing barometer"));
    FailingInertial fail_inertial(truth, scenario, Random(seed, "failing inertial sensor"));
    for (std::size_t i = 0; i < truth.samples.size(); ++i) {
        const TruthSample& sample = truth.samples[i];
        // Motor vibration in proportion to thrust, buffeting in proportion to dynamic pressure.
        const double shake = sample.thrust_fraction + 2.0e-5 * sample.dynamic_pressure_pa;
        const std::size_t had = out.imu.size();
        inertial.feel(sample,
                      {.vibration_mps2 = airframe.vibration_accel_mps2 * shake,
                       .vibration_radps = airframe.vibration_rate_radps * shake,
                       .warmed_k = die_warmth_k(sample.t_s) - die_warmth_k(0.0)},
                      out.imu);
        if (out.imu.size() > had)
            fail_inertial(sample.t_s, 1.0, out.imu.back().accel_body_mps2, out.imu.back().rate_body_radps);
        receiver.feel(sample);
        barometer.follow(sample.pressure_pa + unit.port * sample.dynamic_pressure_pa, kTruthStep_s);
        const std::size_t tick = i + 1;
        if (is_due(tick, pressure_ticks)) {
            bay_temperature_k += (sample.temperature_k + 2.0 - bay_temperature_k) *
                                 (static_cast<double>(pressure_ticks) * kTruthStep_s) / 120.0;
            const double pulse_pa =
                truth.firings.empty() ? pulse_at(truth, airframe.ejection, sample.t_s) : sample.bay_over_pa;
            last_pressure_pa = fail(barometer.read(pulse_pa), sample.t_s, last_pressure_pa);
            out.pressure.push_back({sample.t_s, last_pressure_pa, bay_temperature_k + 0.05 * thermometer.normal()});
        }
        if (is_due(tick, fix_ticks)) out.fix.push_back(receiver.read(sample, truth.events));
        if (is_due(tick, fin_ticks)) out.fins.push_back(fins.read(sample));
        if (is_due(tick, health_ticks)) out.health.push_back(health_at(sample, truth, scenario, health_random));
    }
    out.burst = keep_bursts(truth, scenario, seed, out);
    return out;
}

} // namespace turnstone::sim
