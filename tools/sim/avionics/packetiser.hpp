#pragma once
/// Turns sensor readings into the bytes the vehicle's transmitter sends: the C99 encoder generated from the
/// demo dictionary, one serial radio of 57600 baud, and the vehicle's own clock.
#include <cstdint>

#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/radio/impairment.hpp"

namespace turnstone::sim {

inline constexpr double kByte_s = 10.0 / 57600.0; ///< start bit, eight bits, stop bit

/// The on-board clock against true time: milliseconds since boot. A reboot starts it again at zero.
struct OnboardClock {
    double at_start_s; ///< reading at the start of the run
    double drift_ppm;  ///< fast when positive
    double rebooted_s; ///< true time of the restart; NaN: none
    [[nodiscard]] std::uint32_t read_ms(double t_s) const;
};

struct Packetised {
    PacketStream stream;
    OnboardClock clock;
};

/// Nothing is sent for this long when the electronics start again.
inline constexpr double kBoot_s = 1.8;

[[nodiscard]] Packetised packetise(const Truth& truth, const SensorStream& sensors, const Scenario& scenario,
                                   std::uint64_t seed);

} // namespace turnstone::sim
