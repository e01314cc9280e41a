#include "server/report/flight/flight.hpp"

#include <algorithm>

#include "shared/time.hpp"

namespace turnstone::report {

namespace {

/// Shown of the rail before liftoff and of rest after touchdown.
constexpr std::int64_t kBeforeNs = 10 * kNsPerS;
constexpr std::int64_t kAfterNs = 30 * kNsPerS;

/// Events of one flight, from its liftoff to the next one or to readiness for it.
void take_events(const Recorded& recorded, std::int64_t until_ns, Flight& flight) {
    for (const Event& event : recorded.events()) {
        if (event.vehicle != static_cast<int>(flight.vehicle) || event.t_ns < flight.liftoff_ns ||
            event.t_ns >= until_ns)
            continue;
        const std::string_view word = what(event);
        if (word == "phase_began")
            flight.phases.push_back({text_in(event, "phase"), event.t_ns, event.t_sigma_s, until_ns});
        if (word == "burnout") flight.burnout_ns = event.t_ns;
        if (word == "apogee") flight.apogee_ns = event.t_ns;
        if (word == "touchdown") flight.touchdown_ns = event.t_ns;
    }
    for (std::size_t i = 0; i + 1 < flight.phases.size(); ++i) flight.phases[i].until_ns = flight.phases[i + 1].t_ns;
}

} // namespace

std::optional<std::int64_t> Flight::began(std::string_view phase) const {
    const auto found = std::ranges::find(phases, phase, &FlightPhase::word);
    return found == phases.end() ? std::nullopt : std::optional(found->t_ns);
}

std::vector<Flight> flights_in(const Recorded& recorded) {
    std::vector<Flight> flights;
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle) {
        std::vector<Flight> of_vehicle;
        std::vector<std::int64_t> ends; ///< by flight: when the vehicle was ready again
        for (const Event& event : recorded.events()) {
            if (event.vehicle != static_cast<int>(vehicle)) continue;
            const std::string_view word = what(event);
            if (word == "liftoff") {
                Flight flight;
                flight.vehicle = vehicle;
                flight.liftoff_ns = event.t_ns;
                flight.liftoff_sigma_s = event.t_sigma_s;
                if (!of_vehicle.empty()) ends.back() = std::min(ends.back(), event.t_ns);
                of_vehicle.push_back(std::move(flight));
                ends.push_back(recorded.whole().to_ns);
            } else if (word == "false_liftoff" && !of_vehicle.empty()) {
                of_vehicle.pop_back();
                ends.pop_back();
            } else if (word == "ready_again" && !of_vehicle.empty()) {
                ends.back() = std::min(ends.back(), event.t_ns);
            }
        }
        for (std::size_t i = 0; i < of_vehicle.size(); ++i) {
            Flight& flight = of_vehicle[i];
            flight.number = i + 1;
            take_events(recorded, ends[i], flight);
            const std::int64_t end_ns =
                flight.touchdown_ns ? std::min(ends[i], *flight.touchdown_ns + kAfterNs) : ends[i];
            flight.window = {std::max(recorded.whole().from_ns, flight.liftoff_ns - kBeforeNs), end_ns};
            flights.push_back(std::move(flight));
        }
    }
    return flights;
}

} // namespace turnstone::report
