#include "tools/sim/avionics/plain_packets.hpp"

#include <bit>
#include <cmath>
#include <string>

#include <nlohmann/json.hpp>

namespace turnstone::sim {

namespace {

enum Apid : std::uint16_t { kAccelApid = Transmitter::kApidFirst, kRateApid, kPressureApid, kFixApid, kFinsApid };

nlohmann::json field(const std::string& name, const std::string& unit, const std::string& type = "f32") {
    return {{"name", name}, {"type", type}, {"unit", unit}, {"role", name}};
}

nlohmann::json packet(Apid apid, const std::string& name, double rate_hz, nlohmann::json fields) {
    return {{"apid", apid},
            {"name", name},
            {"description", "Plain " + name},
            {"period_ms", std::lround(1000.0 / rate_hz)},
            {"fields", std::move(fields)}};
}

nlohmann::json inertial_packet(Apid apid, const std::string& name, const Telemetry& telemetry, nlohmann::json fields) {
    if (telemetry.batch <= 1) return packet(apid, name, telemetry.imu_hz, std::move(fields));
    const auto period_ms = std::lround(1000.0 / telemetry.imu_hz);
    const auto count = static_cast<long>(telemetry.batch);
    nlohmann::json out =
        packet(apid, name, telemetry.imu_hz / static_cast<double>(telemetry.batch), nlohmann::json::array());
    out["batch"] = {{"name", "samples"},
                    {"count", count},
                    {"period_ms", period_ms},
                    {"first_offset_ms", -(count - 1) * period_ms},
                    {"fields", std::move(fields)}};
    return out;
}

/// Bitwise, from the parameters in LINK.md: polynomial 0x1021, initial value 0xFFFF, nothing reflected or inverted.
std::uint16_t checksum(const std::vector<std::uint8_t>& bytes) {
    std::uint32_t crc = 0xFFFF;
    for (const std::uint8_t byte : bytes) {
        crc ^= static_cast<std::uint32_t>(byte) << 8U;
        for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000U) != 0 ? (crc << 1U) ^ 0x1021U : crc << 1U;
        crc &= 0xFFFFU;
    }
    return static_cast<std::uint16_t>(crc);
}

/// Stuffed and delimited; `bytes` are fewer than 254.
std::size_t stuff(const std::vector<std::uint8_t>& bytes, std::uint8_t* out) {
    std::size_t code = 0, at = 1;
    for (const std::uint8_t byte : bytes) {
        if (byte != 0) {
            out[at++] = byte;
            continue;
        }
        out[code] = static_cast<std::uint8_t>(at - code);
        code = at++;
    }
    out[code] = static_cast<std::uint8_t>(at - code);
    out[at++] = 0;
    return at;
}

template <class Unsigned>
void put_big_endian(std::vector<std::uint8_t>& out, Unsigned value) {
    for (int shift = 8 * (static_cast<int>(sizeof value) - 1); shift >= 0; shift -= 8)
        out.push_back(static_cast<std::uint8_t>(value >> static_cast<unsigned>(shift)));
}

} // namespace

nlohmann::json plain_dictionary(const Telemetry& telemetry, const std::string& vehicle) {
    nlohmann::json packets = nlohmann::json::array();
    if (telemetry.imu_hz > 0.0) {
        nlohmann::json accel = nlohmann::json::array({field("accel_body_x", "m/s2")});
        if (telemetry.lateral)
            for (const char* name : {"accel_body_y", "accel_body_z"}) accel.push_back(field(name, "m/s2"));
        nlohmann::json rates = nlohmann::json::array();
        for (const char* name : {"rate_body_x", "rate_body_y", "rate_body_z"}) rates.push_back(field(name, "rad/s"));
        if (telemetry.rates && !telemetry.triads_apart) accel.insert(accel.end(), rates.begin(), rates.end());
        packets.push_back(inertial_packet(kAccelApid, "accel", telemetry, std::move(accel)));
        if (telemetry.rates && telemetry.triads_apart)
            packets.push_back(inertial_packet(kRateApid, "rates", telemetry, std::move(rates)));
    }
    if (telemetry.pressure_hz > 0.0) {
        packets.push_back(packet(kPressureApid, "baro", telemetry.pressure_hz,
                                 {field("static_pressure", "Pa"), field("air_temperature", "K")}));
    }
    if (telemetry.fix_hz > 0.0) {
        nlohmann::json fields = {field("latitude", "deg", "f64"),
                                 field("longitude", "deg", "f64"),
                                 field("height_msl", "m"),
                                 field("fix_accuracy_horizontal", "m"),
                                 field("fix_accuracy_vertical", "m"),
                                 field("fix_dimensions", "1", "u8"),
                                 field("satellites_used", "1", "u8")};
        if (telemetry.velocity)
            for (const char* name : {"velocity_east", "velocity_north", "velocity_up", "fix_accuracy_speed"})
                fields.push_back(field(name, "m/s"));
        packets.push_back(packet(kFixApid, "fix", telemetry.fix_hz, std::move(fields)));
    }
    if (telemetry.fins_hz > 0.0) {
        packets.push_back(packet(kFinsApid, "fins", telemetry.fins_hz,
                                 {field("fin_roll_command", "rad"), field("fin_pitch_command", "rad"),
                                  field("fin_yaw_command", "rad"), field("fin_roll", "rad"), field("fin_pitch", "rad"),
                                  field("fin_yaw", "rad")}));
    }
    return {{"vehicle", vehicle},
            {"title", "Plain"},
            {"version", "1.0.0"},
            {"byte_order", "big"},
            {"time", {{"format", "u32_ms"}}},
            {"packets", std::move(packets)}};
}

PlainPackets::PlainPackets(const Telemetry& telemetry, Transmitter& transmitter)
    : telemetry_(telemetry), transmitter_(&transmitter) {}

void PlainPackets::put(double value) {
    put_big_endian(data_, std::bit_cast<std::uint32_t>(static_cast<float>(value)));
}

void PlainPackets::put_double(double value) {
    put_big_endian(data_, std::bit_cast<std::uint64_t>(value));
}

void PlainPackets::imu(const ImuReading* first, std::size_t batch, double t_stamp_s) {
    const double t_made_s = first[batch - 1].t_s;
    const bool together = telemetry_.rates && !telemetry_.triads_apart;
    const auto put_rates = [this](const ImuReading& reading) {
        for (Eigen::Index k = 0; k < 3; ++k) put(reading.rate_body_radps[k]);
    };
    for (std::size_t i = 0; i < batch; ++i) {
        for (Eigen::Index k = 0; k < (telemetry_.lateral ? 3 : 1); ++k) put(first[i].accel_body_mps2[k]);
        if (together) put_rates(first[i]);
    }
    send(kAccelApid, t_made_s, t_stamp_s);
    if (!telemetry_.rates || together) return;
    for (std::size_t i = 0; i < batch; ++i) put_rates(first[i]);
    send(kRateApid, t_made_s, t_stamp_s);
}

void PlainPackets::pressure(const PressureReading& reading) {
    put(reading.pressure_pa);
    put(reading.temperature_k);
    send(kPressureApid, reading.t_s, reading.t_s);
}

void PlainPackets::fix(const FixReading& reading) {
    put_double(reading.latitude_deg);
    put_double(reading.longitude_deg);
    put(reading.height_msl_m);
    put(reading.accuracy_horizontal_m);
    put(reading.accuracy_vertical_m);
    put_byte(reading.fix_dimensions);
    put_byte(reading.satellites);
    if (telemetry_.velocity) {
        for (Eigen::Index k = 0; k < 3; ++k) put(reading.velocity_enu_mps[k]);
        put(reading.accuracy_speed_mps);
    }
    send(kFixApid, reading.t_s, reading.t_s);
}

void PlainPackets::fins(const FinReading& reading) {
    for (Eigen::Index k = 0; k < 3; ++k) put(reading.commanded_rad[k]);
    for (Eigen::Index k = 0; k < 3; ++k) put(reading.measured_rad[k]);
    send(kFinsApid, reading.t_s, reading.t_s);
}

void PlainPackets::send(std::uint16_t apid, double t_made_s, double t_stamp_s) {
    constexpr std::size_t kTimeBytes = 4;
    transmitter_->send(apid, t_made_s, t_stamp_s,
                       [&](std::uint8_t* out, std::size_t, std::uint16_t sequence, std::uint32_t time_ms) {
                           std::vector<std::uint8_t> bytes;
                           // Version 0, telemetry, secondary header; unsegmented; bytes after this header, minus one.
                           put_big_endian(bytes, static_cast<std::uint16_t>(0x0800U | apid));
                           put_big_endian(bytes, static_cast<std::uint16_t>(0xC000U | sequence));
                           put_big_endian(bytes, static_cast<std::uint16_t>(kTimeBytes + data_.size() - 1));
                           put_big_endian(bytes, time_ms);
                           bytes.insert(bytes.end(), data_.begin(), data_.end());
                           put_big_endian(bytes, checksum(bytes));
                           return stuff(bytes, out);
                       });
    data_.clear();
}

} // namespace turnstone::sim
