#pragma once
/// Packets of a vehicle with any telemetry: each kind of measurement has its own, in big-endian floating point, with
/// the dictionary that says so. The frame is that of protocol/LINK.md, written here from its text alone.
#include <nlohmann/json_fwd.hpp>

#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/avionics/transmitter.hpp"

namespace turnstone::sim {

/// `vehicle` as in vehicle.json.
[[nodiscard]] nlohmann::json plain_dictionary(const Telemetry& telemetry, const std::string& vehicle);

class PlainPackets {
  public:
    PlainPackets(const Telemetry& telemetry, Transmitter& transmitter);
    /// `batch` samples from `first` on, dated `t_stamp_s` and before.
    void imu(const ImuReading* first, std::size_t batch, double t_stamp_s);
    void pressure(const PressureReading& reading);
    void fix(const FixReading& reading);
    void fins(const FinReading& reading);

  private:
    void send(std::uint16_t apid, double t_made_s, double t_stamp_s);
    void put(double value); ///< binary32
    void put_double(double value);
    void put_byte(int value) { data_.push_back(static_cast<std::uint8_t>(value)); }

    Telemetry telemetry_;
    Transmitter* transmitter_;
    std::vector<std::uint8_t> data_; ///< of the packet being made
};

} // namespace turnstone::sim
