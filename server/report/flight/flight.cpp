#include "server/report/flight/flight.hpp"

#include <algorithm>

#include "server/debrief/flights/chapters.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

/// Shown of the rail before liftoff and of rest after touchdown.
constexpr std::int64_t kBeforeNs = 10 * kNsPerS;
constexpr std::int64_t kAfterNs = 30 * kNsPerS;

} // namespace

std::optional<std::int64_t> Flight::began(std::string_view phase) const {
    const auto found = std::ranges::find(phases, phase, &FlightPhase::word);
    return found == phases.end() ? std::nullopt : std::optional(found->t_ns);
}

std::vector<Flight> flights_in(const Recorded& recorded) {
    std::vector<Flight> flights;
    for (const debrief::Chapter& chapter : debrief::chapters_in(recorded)) {
        if (!chapter.liftoff_ns) continue;
        Flight flight{.vehicle = chapter.vehicle,
                      .number = chapter.number,
                      .name = debrief::flight_name(chapter.name, recorded.utc_ns(*chapter.liftoff_ns)),
                      .is_named = !chapter.name.empty(),
                      .liftoff_ns = *chapter.liftoff_ns,
                      .liftoff_sigma_s = chapter.liftoff_sigma_s,
                      .phases = {},
                      .burnout_ns = chapter.burnout_ns,
                      .apogee_ns = chapter.apogee_ns,
                      .touchdown_ns = chapter.touchdown_ns};
        for (const debrief::ChapterPhase& phase : chapter.phases)
            flight.phases.push_back({phase.word, phase.t_ns, phase.sigma_s, phase.until_ns});
        const std::int64_t end_ns = chapter.touchdown_ns
                                        ? std::min(chapter.window.to_ns, *chapter.touchdown_ns + kAfterNs)
                                        : chapter.window.to_ns;
        flight.window = {std::max(recorded.whole().from_ns, flight.liftoff_ns - kBeforeNs), end_ns};
        flights.push_back(std::move(flight));
    }
    return flights;
}

} // namespace turnstone::report
