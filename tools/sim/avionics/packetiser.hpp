#pragma once
/// Turns sensor readings into the bytes the vehicle's transmitter sends: the demo's own packets by the C99 encoder
/// generated from its dictionary, on one serial radio of 57600 baud; plain packets for any other telemetry.
#include <cstdint>

#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/avionics/transmitter.hpp"

namespace turnstone::sim {

inline constexpr double kByte_s = 10.0 / 57600.0; ///< start bit, eight bits, stop bit
/// Plain packets are larger, and have a line that holds 200 of them a second.
inline constexpr double kPlainByte_s = 10.0 / 115200.0;

struct Packetised {
    PacketStream stream;
    OnboardClock clock;
    double byte_s; ///< of the radio's line
};

[[nodiscard]] Packetised packetise(const Truth& truth, const SensorStream& sensors, const Scenario& scenario,
                                   std::uint64_t seed);

} // namespace turnstone::sim
