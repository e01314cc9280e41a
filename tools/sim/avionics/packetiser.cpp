#include "tools/sim/avionics/packetiser.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <numbers>

#include "shared/constants.hpp"
#include "tools/sim/avionics/onboard.hpp"
#include "tools/sim/avionics/plain_packets.hpp"

#include "sanderling_telemetry.h" // generated from tools/demo/sanderling/dictionary.json

namespace turnstone::sim {

namespace {

constexpr std::size_t kImuBatch = SANDERLING_IMU_SAMPLES_COUNT;
constexpr std::size_t kNavTicks = 20; ///< inertial samples between on-board estimates: 100 ms
constexpr std::uint16_t kBootCount = 17;
constexpr char kFirmwareVersion[] = "1.4.2";
static_assert(SANDERLING_IMU_APID == Transmitter::kApidFirst);
static_assert(SANDERLING_IMU_FRAME_BYTES_MAX <= Transmitter::kFrameBytesMax);

void send_imu(Transmitter& transmitter, const ImuReading* batch, double t_stamp_s, double temperature_k) {
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
    transmitter.send(SANDERLING_IMU_APID, batch[kImuBatch - 1].t_s, t_stamp_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_imu(out, size, sequence, time_ms, &packet);
                     });
}

void send_baro(Transmitter& transmitter, const PressureReading& reading) {
    sanderling_baro packet{};
    packet.static_pressure = sanderling_raw_baro_static_pressure(reading.pressure_pa);
    packet.air_temperature = sanderling_raw_baro_air_temperature(reading.temperature_k);
    transmitter.send(SANDERLING_BARO_APID, reading.t_s, reading.t_s,
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
    transmitter.send(SANDERLING_FIX_APID, reading.t_s, reading.t_s,
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
    static_assert(sizeof SANDERLING_DICTIONARY_VERSION <= sizeof packet.dictionary);
    std::memcpy(packet.dictionary, SANDERLING_DICTIONARY_VERSION, sizeof SANDERLING_DICTIONARY_VERSION);
    transmitter.send(SANDERLING_HEALTH_APID, reading.t_s, reading.t_s,
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
    transmitter.send(SANDERLING_NAV_APID, t_s, t_s,
                     [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                         return sanderling_encode_nav(out, size, sequence, time_ms, &packet);
                     });
}

/// Tells of firings as they happen, and sends what was kept around them when the radio has time: packet by packet, then
/// all of them again as they were, since a lost one leaves a hole in the very event.
class FiringReport {
  public:
    FiringReport(const SensorStream& sensors, double dark_from_s, Transmitter& transmitter)
        : bursts_(&sensors.burst), dark_from_s_(dark_from_s), transmitter_(&transmitter) {}

    /// What was kept before now is gone.
    void restart(double t_s) {
        packets_.clear();
        while (burst_ < bursts_->size() && (*bursts_)[burst_].fired_s < t_s) ++burst_;
        told_ = 0;
        again_ = 0;
    }
    void tick(double t_s) {
        if (burst_ >= bursts_->size()) return;
        const Burst& burst = (*bursts_)[burst_];
        if (told_ < 2 && t_s >= burst.fired_s + told_ * kToldAgain_s) {
            told_ == 0 ? send_firing(burst) : transmitter_->send_again(firing_, t_s);
            ++told_;
            if (told_ == 1) t_next_s_ = burst.fired_s + kFirst_s;
        }
        if (t_s < std::max(burst.fired_s + kFirst_s, t_next_s_)) return;
        const std::size_t whole = kept(burst) / kSamples;
        if (packets_.size() < whole) {
            packets_.push_back(transmitter_->stream().packets.size());
            send_samples(burst, packets_.size() - 1, t_s);
        } else if (again_ < packets_.size()) {
            transmitter_->send_again(packets_[again_++], t_s);
        } else if (told_ == 2) {
            packets_.clear();
            again_ = 0;
            told_ = 0;
            ++burst_;
        }
        t_next_s_ = t_s + kPeriod_s;
    }

  private:
    static constexpr std::size_t kSamples = SANDERLING_BURST_SAMPLES_COUNT;
    static constexpr double kToldAgain_s = 1.0;
    static constexpr double kFirst_s = 0.3;
    static constexpr double kPeriod_s = 0.2;

    [[nodiscard]] std::size_t kept(const Burst& burst) const {
        const bool all = dark_from_s_ < burst.readings.front().t_s || dark_from_s_ > burst.readings.back().t_s;
        if (all) return burst.readings.size();
        return static_cast<std::size_t>(std::count_if(burst.readings.begin(), burst.readings.end(),
                                                      [&](const BurstReading& r) { return r.t_s < dark_from_s_; }));
    }
    void send_firing(const Burst& burst) {
        firing_ = transmitter_->stream().packets.size();
        sanderling_firing packet{};
        packet.charge_fired = static_cast<std::uint8_t>(burst.charge + 1);
        transmitter_->send(SANDERLING_FIRING_APID, burst.fired_s, burst.fired_s,
                           [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                               return sanderling_encode_firing(out, size, sequence, time_ms, &packet);
                           });
    }
    void send_samples(const Burst& burst, std::size_t k, double t_s) {
        sanderling_burst packet{};
        packet.charge = static_cast<std::uint8_t>(burst.charge + 1);
        const BurstReading* first = &burst.readings[k * kSamples];
        for (std::size_t i = 0; i < kSamples; ++i) {
            sanderling_burst_samples& sample = packet.samples[i];
            sample.axial_acceleration = sanderling_raw_burst_samples_axial_acceleration(first[i].axial_mps2);
            sample.turn_rate = sanderling_raw_burst_samples_turn_rate(first[i].turn_rate_radps);
            sample.bay_pressure = sanderling_raw_burst_samples_bay_pressure(first[i].bay_pa);
            sample.battery = sanderling_raw_burst_samples_battery(first[i].battery_v);
            sample.current = sanderling_raw_burst_samples_current(first[i].current_a);
        }
        transmitter_->send(SANDERLING_BURST_APID, t_s, first->t_s,
                           [&](std::uint8_t* out, std::size_t size, std::uint16_t sequence, std::uint32_t time_ms) {
                               return sanderling_encode_burst(out, size, sequence, time_ms, &packet);
                           });
    }

    const std::vector<Burst>* bursts_;
    double dark_from_s_;
    Transmitter* transmitter_;
    std::size_t burst_ = 0; ///< that is next or under way
    int told_ = 0;          ///< how often of its firing
    std::size_t firing_ = 0;
    std::vector<std::size_t> packets_; ///< of it, as places in the stream
    std::size_t again_ = 0;
    double t_next_s_ = 0.0;
};

/// The demo's packets, with its on-board computer's estimate among them.
class DemoPackets {
  public:
    DemoPackets(const Scenario& scenario, const SensorStream& sensors, double dark_from_s, Transmitter& transmitter)
        : transmitter_(&transmitter), firings_(sensors, dark_from_s, transmitter),
          computer_(scenario.site.launch_azimuth_deg.value_or(0.0) * std::numbers::pi / 180.0, kGravityStandard_mps2),
          die_temperature_k_(sensors.health.empty() ? 300.0 : sensors.health.front().imu_temperature_k) {}

    void restart(double t_s) {
        computer_.restart();
        firings_.restart(t_s);
        ++boots_;
    }
    void tick(double t_s) { firings_.tick(t_s); }
    void charge_fired() { computer_.charge_fired(); }
    void feel(const ImuReading& reading) { computer_.take(reading); }
    void imu(const ImuReading* first, std::size_t, double t_stamp_s) {
        send_imu(*transmitter_, first, t_stamp_s, die_temperature_k_);
    }
    void pressure(const PressureReading& reading) {
        computer_.take(reading);
        send_baro(*transmitter_, reading);
    }
    void nav(double t_s) { send_nav(*transmitter_, t_s, computer_.estimate()); }
    void fix(const FixReading& reading) { send_fix(*transmitter_, reading); }
    void fins(const FinReading&) {}
    void health(const HealthReading& reading) {
        die_temperature_k_ = reading.imu_temperature_k;
        send_health(*transmitter_, reading, static_cast<std::uint16_t>(kBootCount + boots_));
    }

  private:
    Transmitter* transmitter_;
    FiringReport firings_;
    OnboardComputer computer_;
    double die_temperature_k_;
    int boots_ = 0;
};

/// A vehicle that only measures.
class BarePackets : public PlainPackets {
  public:
    using PlainPackets::PlainPackets;
    void restart(double) {}
    void tick(double) {}
    void charge_fired() {}
    void feel(const ImuReading&) {}
    void nav(double) {}
    void health(const HealthReading&) {}
};

/// While the electronics are off.
struct Dark {
    double from_s = kNever_s;
    double until_s = kNever_s;
    bool restarts = false; ///< at the end
};

/// How long before its interval's end an inertial sample is dated.
double dated_back_s(const Scenario& scenario) {
    const double period_s = 1.0 / scenario.telemetry.imu_hz;
    switch (scenario.vehicle.sensors.imu_sample_time) {
    case SampleTime::start: return period_s;
    case SampleTime::middle: return 0.5 * period_s;
    case SampleTime::end: break;
    }
    return 0.0;
}

template <class Packets>
void send_all(const Truth& truth, const SensorStream& sensors, const Scenario& scenario, const Dark& dark_time,
              Transmitter& transmitter, Packets packets) {
    const std::size_t batch = scenario.telemetry.batch;
    const double back_s = dated_back_s(scenario);
    bool restarted = false;
    std::size_t imu = 0, pressure = 0, fix = 0, fins = 0, health = 0, ejection = 0;
    for (std::size_t tick = 1; tick <= truth.samples.size(); ++tick) {
        const double t_s = truth.samples[tick - 1].t_s;
        const bool dark = t_s >= dark_time.from_s && t_s < dark_time.until_s;
        if (!dark && !restarted && t_s >= dark_time.until_s) {
            restarted = true;
            if (dark_time.restarts) {
                packets.restart(t_s);
                transmitter.restart();
            }
        }
        if (!dark) packets.tick(t_s);
        const auto is_due = [&](const auto& readings, std::size_t at) {
            return at < readings.size() && readings[at].t_s <= t_s + 1e-9;
        };
        const bool felt = is_due(sensors.imu, imu);
        if (felt && !dark) packets.feel(sensors.imu[imu]);
        for (; ejection < truth.events.ejections.size() && truth.events.ejections[ejection].t_s <= t_s; ++ejection)
            packets.charge_fired();
        if (felt && ++imu % batch == 0) {
            // A batch that began in the dark is incomplete and is not sent.
            const ImuReading* first = &sensors.imu[imu - batch];
            if (!dark && first->t_s >= (restarted ? dark_time.until_s : 0.0)) packets.imu(first, batch, t_s - back_s);
        }
        for (; is_due(sensors.pressure, pressure); ++pressure)
            if (!dark) packets.pressure(sensors.pressure[pressure]);
        if (tick % kNavTicks == 0 && !dark) packets.nav(t_s);
        for (; is_due(sensors.fix, fix); ++fix)
            if (!dark) packets.fix(sensors.fix[fix]);
        for (; is_due(sensors.fins, fins); ++fins)
            if (!dark) packets.fins(sensors.fins[fins]);
        for (; is_due(sensors.health, health); ++health)
            if (!dark) packets.health(sensors.health[health]);
    }
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
    Dark dark;
    if (!truth.events.ejections.empty()) {
        const double fired_s = truth.events.ejections.front().t_s;
        if (scenario.reboots_at_ejection) // the igniter's current pulls the supply down
            dark = {fired_s + 0.004, fired_s + 0.004 + scenario.boot_s, true};
        if (scenario.charge_fault == ChargeFault::brown_out) dark = {fired_s + 0.012, fired_s + 0.412, false};
    }
    if (dark.restarts) clock.rebooted_s = dark.until_s;

    const bool is_demo = scenario.telemetry == Telemetry{};
    const double byte_s = is_demo ? kByte_s : kPlainByte_s;
    Transmitter transmitter(clock, byte_s);
    transmitter.stream().packets.reserve(truth.samples.size() / 2);
    transmitter.stream().bytes.reserve(truth.samples.size() * 24);
    if (is_demo)
        send_all(truth, sensors, scenario, dark, transmitter, DemoPackets(scenario, sensors, dark.from_s, transmitter));
    else
        send_all(truth, sensors, scenario, dark, transmitter, BarePackets(scenario.telemetry, transmitter));
    return {std::move(transmitter.stream()), clock, byte_s};
}

} // namespace turnstone::sim
