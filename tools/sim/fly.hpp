#pragma once
/// One flight in one call, for tests and benchmarks: the same scenario and seed give the same bits.
#include <cstdint>
#include <vector>

#include "tools/sim/avionics/packetiser.hpp"
#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/radio/impairment.hpp"
#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::sim {

/// Truth and what the sensors made of it, without packets.
struct SensedFlight {
    Truth truth;
    SensorStream sensors;
};
[[nodiscard]] SensedFlight fly_sensors(const Scenario& scenario, std::uint64_t seed);

struct FlightResult {
    Truth truth;
    SensorStream sensors;
    OnboardClock clock;
    PacketStream sent;
    DeliveredStream received;
    std::vector<DeliveredStream> further; ///< of Scenario::further_receivers
};
[[nodiscard]] FlightResult fly(const Scenario& scenario, std::uint64_t seed);

} // namespace turnstone::sim
