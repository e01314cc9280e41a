#include "tools/sim/fly.hpp"

#include <utility>

namespace turnstone::sim {

SensedFlight fly_sensors(const Scenario& scenario, std::uint64_t seed) {
    SensedFlight out;
    out.truth = run_truth(make_setup(scenario, seed), scenario.kind, scenario.after_touchdown_s,
                          scenario.before_ignition_s + scenario.after_touchdown_s);
    out.sensors = sense(out.truth, scenario, seed);
    return out;
}

FlightResult fly(const Scenario& scenario, std::uint64_t seed) {
    SensedFlight sensed = fly_sensors(scenario, seed);
    Packetised packetised = packetise(sensed.truth, sensed.sensors, scenario, seed);
    FlightResult out;
    out.received = impair(packetised.stream, sensed.truth, scenario.impairment, packetised.byte_s, seed);
    out.truth = std::move(sensed.truth);
    out.sensors = std::move(sensed.sensors);
    out.clock = packetised.clock;
    out.sent = std::move(packetised.stream);
    return out;
}

} // namespace turnstone::sim
