#include "tools/sim/fly.hpp"

#include <utility>

#include "tools/sim/steering/fin_computer.hpp"

namespace turnstone::sim {

SensedFlight fly_sensors(const Scenario& scenario, std::uint64_t seed) {
    SensedFlight out;
    out.truth = run_truth(make_setup(scenario, seed), scenario.kind, scenario.after_touchdown_s,
                          scenario.before_ignition_s + scenario.after_touchdown_s, fin_command(scenario, seed));
    out.sensors = sense(out.truth, scenario, seed);
    return out;
}

FlightResult fly(const Scenario& scenario, std::uint64_t seed) {
    SensedFlight sensed = fly_sensors(scenario, seed);
    Packetised packetised = packetise(sensed.truth, sensed.sensors, scenario, seed);
    FlightResult out;
    const auto received = [&](Impairment impairment, std::size_t receiver) {
        if (scenario.gap_at_ejection && !sensed.truth.events.ejections.empty()) {
            impairment.silent_from_s = sensed.truth.events.ejections.front().t_s - 0.2;
            impairment.silent_until_s = impairment.silent_from_s + 0.7;
        }
        return impair(packetised.stream, sensed.truth, impairment, packetised.byte_s, seed, receiver);
    };
    out.received = received(scenario.impairment, 0);
    for (std::size_t k = 0; k < scenario.further_receivers.size(); ++k)
        out.further.push_back(received(scenario.further_receivers[k], k + 1));
    out.truth = std::move(sensed.truth);
    out.sensors = std::move(sensed.sensors);
    out.clock = packetised.clock;
    out.sent = std::move(packetised.stream);
    return out;
}

} // namespace turnstone::sim
