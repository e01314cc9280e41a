#include "tools/sim/avionics/packetiser.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <numbers>

#include "shared/constants.hpp"
#include "tools/sim/avionics/onboard.hpp"

#include "sanderling_telemetry.h" // generated from tools/demo/sanderling/dictionary.json

namespace turnstone::sim {

namespace {

constexpr std::size_t kImuBatch = SANDERLING_IMU_SAMPLES_COUNT;
constexpr std::size_t kNavTicks = 20; ///< inertial samples between on-board estimates: 100 ms
constexpr double kProcessing_s = 0.0008;
constexpr std::uint16_t kBootCount = 17;
constexpr char kFirmwareVersion[] = "1.4.2";
constexpr std::size_t kApidFirst = SANDERLING_IMU_APID;

/// The transmitter's serial queue: frames leave one after another at the radio's rate.
class Transmitter {
  public:
    explicit Transmitter(const OnboardClock& clock) : clock_(clock) {}

    /// `encode(out, size, sequence_count, time_ms)` writes one frame and returns its size.
    template <class Encode>
    void send(std::uint16_t apid, double t_s, const Encode& encode) {
        const std::uint32_t onboard_ms = clock_.read_ms(t_s);
        std::uint16_t& sequence = sequence_[apid - kApidFirst];
        std::array<std::uint8_t, SANDERLING_IMU_FRAME_BYTES_MAX> frame;
        const std::size_t size = encode(frame.data(), frame.size(), sequence, onboard_ms);
        const double begin_s = std::max(t_s + kProcessing_s, free_s_);
        free_s_ = begin_s + kByte_s * static_cast<double>(size);
        stream_.packets.push_back({.apid = apid,
                                   .sequence_count = sequence,
                                   .onboard_ms = onboard_ms,
                                   .t_made_s = t_s,
                                   .t_begin_s = begin_s,
                                   .t_end_s = free_s_,
                                   .offset = stream_.bytes.size(),
                                   .size = size});
        stream_.bytes.insert(stream_.bytes.end(), frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size));
        sequence = static_cast<std::uint16_t>((sequence + 1U) % 16384U);
    }
    void restart() { sequence_.fill(0); }
    [[nodiscard]] PacketStream& stream() { return stream_; }

  private:
    OnboardClock clock_;
    std::array<std::uint16_t, 5> sequence_{};
    double free_s_ = 0.0;
    PacketStream stream_;
};

void send_imu(Transmitter& transmitter, const ImuReading* batch, double temperature_k) {
    sanderling_imu packet{};
    packet.imu_temperature = sanderling_raw_imu_imu_temperature(temperature_k);
    for (std::size_t k = 0; k < kImuBatch; ++k) {
        sanderling_imu_samples& sample = packet.samples[k];
        sample.accel_body_x = sanderling_raw_imu_samples_accel_body_x(batch[k].accel_body_mps2.x());
        sample.accel_body_y = sanderling_raw_imu_samples_accel_body_y(batch[k].accel_body_mps2.y());
        sample.accel_body_z = sanderling_raw_imu_samples_accel_body_z(batch[k].accel_body_mps2.z());
        sample.rate_body_x = sanderling_raw_imu_samples_rate_body_x(batch[k].rate_body_radps.x());
        sample.rate_body_y = sanderling_raw_imu_samples_rate_body_y(batch[k].rate_body_radps.y());
        sample.rate_body_z = sanderling_raw_imu_samples_rate_body_z(batch[k].rate_body_radps.z());
    }
    transmitter.send(SANDERLING_IMU_APID, batch[kImuBatch - 1].t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_imu(out, size, sequence, time_ms, &packet);
                     });
}

void send_baro(Transmitter& transmitter, const PressureReading& reading) {
    sanderling_baro packet{};
    packet.static_pressure = sanderling_raw_baro_static_pressure(reading.pressure_pa);
    packet.air_temperature = sanderling_raw_baro_air_temperature(reading.temperature_k);
    transmitter.send(SANDERLING_BARO_APID, reading.t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_baro(out, size, sequence, time_ms, &packet);
                     });
}

void send_fix(Transmitter& transmitter, const FixReading& reading) {
    sanderling_fix packet{};
    packet.latitude = sanderling_raw_fix_latitude(reading.latitude_deg);
    packet.longitude = sanderling_raw_fix_longitude(reading.longitude_deg);
    packet.height_msl = sanderling_raw_fix_height_msl(reading.height_msl_m);
    // Every velocity component is the same type with the same scale, 2^-6 m/s.
    packet.velocity_east = sanderling_raw_fix_velocity_east(reading.velocity_enu_mps.x());
    packet.velocity_north = sanderling_raw_fix_velocity_north(reading.velocity_enu_mps.y());
    packet.velocity_up = sanderling_raw_fix_velocity_up(reading.velocity_enu_mps.z());
    packet.fix_dimensions = static_cast<std::uint8_t>(reading.fix_dimensions);
    packet.satellites_used = static_cast<std::uint8_t>(reading.satellites);
    packet.accuracy_horizontal = sanderling_raw_fix_accuracy_horizontal(reading.accuracy_horizontal_m);
    packet.accuracy_vertical = sanderling_raw_fix_accuracy_vertical(reading.accuracy_vertical_m);
    transmitter.send(SANDERLING_FIX_APID, reading.t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_fix(out, size, sequence, time_ms, &packet);
                     });
}

void send_health(Transmitter& transmitter, const HealthReading& reading, std::uint16_t boot_count) {
    sanderling_health packet{};
    packet.battery_voltage = sanderling_raw_health_battery_voltage(reading.battery_v);
    packet.continuity_drogue = reading.continuity_drogue ? 1 : 0;
    packet.continuity_main = reading.continuity_main ? 1 : 0;
    packet.storage_ok = reading.storage_ok ? 1 : 0;
    packet.boot_count = boot_count;
    packet.free_storage = sanderling_raw_health_free_storage(reading.free_storage_bytes);
    std::memcpy(packet.firmware, kFirmwareVersion, sizeof kFirmwareVersion);
    transmitter.send(SANDERLING_HEALTH_APID, reading.t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_health(out, size, sequence, time_ms, &packet);
                     });
}

void send_nav(Transmitter& transmitter, double t_s, const OnboardEstimate& estimate) {
    sanderling_nav packet{};
    packet.onboard_phase = static_cast<std::uint8_t>(estimate.phase);
    packet.onboard_altitude = static_cast<float>(estimate.altitude_m);
    packet.onboard_vertical_speed = static_cast<float>(estimate.vertical_speed_mps);
    packet.onboard_q[0] = static_cast<float>(estimate.q_local_body.w());
    packet.onboard_q[1] = static_cast<float>(estimate.q_local_body.x());
    packet.onboard_q[2] = static_cast<float>(estimate.q_local_body.y());
    packet.onboard_q[3] = static_cast<float>(estimate.q_local_body.z());
    transmitter.send(SANDERLING_NAV_APID, t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_nav(out, size, sequence, time_ms, &packet);
                     });
}

} // namespace

std::uint32_t OnboardClock::read_ms(double t_s) const {
    const bool again = !std::isnan(rebooted_s) && t_s >= rebooted_s;
    const double since_s = again ? t_s - rebooted_s : t_s;
    const double reading_s = (again ? 0.0 : at_start_s) + since_s * (1.0 + drift_ppm * 1e-6);
    // The counter is unsigned 32-bit milliseconds: 49.7 days, then it starts again.
    return static_cast<std::uint32_t>(static_cast<std::uint64_t>(reading_s * 1000.0 + 1e-6) & 0xffffffffU);
}

Packetised packetise(const Truth& truth, const SensorStream& sensors, const Scenario& scenario, std::uint64_t seed) {
    Random random(seed, "clock");
    OnboardClock clock{};
    clock.at_start_s = random.uniform(30.0, 900.0);
    clock.drift_ppm = scenario.airframe.clock_drift_ppm * random.normal();
    clock.rebooted_s = kNaN;
    double dark_from_s = kNever_s;
    if (scenario.reboots_at_ejection && !truth.events.ejections.empty()) {
        dark_from_s = truth.events.ejections.front().t_s + 0.004; // the igniter's current pulls the supply down
        clock.rebooted_s = dark_from_s + kBoot_s;
    }
    const double dark_until_s = dark_from_s + kBoot_s;

    Transmitter transmitter(clock);
    transmitter.stream().packets.reserve(sensors.imu.size() / 2);
    transmitter.stream().bytes.reserve(sensors.imu.size() * 24);
    const double azimuth_rad = scenario.site.launch_azimuth_deg.value_or(0.0) * std::numbers::pi / 180.0;
    OnboardComputer computer(azimuth_rad, kGravityStandard_mps2);
    bool restarted = false;
    std::size_t pressure = 0, fix = 0, health = 0, ejection = 0;
    double die_temperature_k = sensors.health.empty() ? 300.0 : sensors.health.front().imu_temperature_k;
    for (std::size_t i = 0; i < sensors.imu.size(); ++i) {
        const double t_s = sensors.imu[i].t_s;
        const bool dark = t_s >= dark_from_s && t_s < dark_until_s;
        if (!dark && !restarted && t_s >= dark_until_s) {
            restarted = true;
            computer.restart();
            transmitter.restart();
        }
        if (!dark) computer.take(sensors.imu[i]);
        for (; ejection < truth.events.ejections.size() && truth.events.ejections[ejection].t_s <= t_s; ++ejection)
            computer.charge_fired();
        // A batch that began in the dark is incomplete and is not sent.
        const bool whole_batch =
            !dark && sensors.imu[i + 1 < kImuBatch ? 0 : i + 1 - kImuBatch].t_s >= (restarted ? dark_until_s : 0.0);
        if ((i + 1) % kImuBatch == 0 && whole_batch)
            send_imu(transmitter, &sensors.imu[i + 1 - kImuBatch], die_temperature_k);
        for (; pressure < sensors.pressure.size() && sensors.pressure[pressure].t_s <= t_s + 1e-9; ++pressure) {
            if (!dark) {
                computer.take(sensors.pressure[pressure]);
                send_baro(transmitter, sensors.pressure[pressure]);
            }
        }
        if ((i + 1) % kNavTicks == 0 && !dark) send_nav(transmitter, t_s, computer.estimate());
        for (; fix < sensors.fix.size() && sensors.fix[fix].t_s <= t_s + 1e-9; ++fix)
            if (!dark) send_fix(transmitter, sensors.fix[fix]);
        for (; health < sensors.health.size() && sensors.health[health].t_s <= t_s + 1e-9; ++health) {
            if (!dark) {
                die_temperature_k = sensors.health[health].imu_temperature_k;
                send_health(transmitter, sensors.health[health],
                            static_cast<std::uint16_t>(kBootCount + (restarted ? 1 : 0)));
            }
        }
    }
    return {std::move(transmitter.stream()), clock};
}

} // namespace turnstone::sim
