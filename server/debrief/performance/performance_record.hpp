#pragma once
/// What is asked of a flight for its performance, out of its recording and its smoothed motion.
#include <optional>
#include <vector>

#include "server/debrief/flights/open_flight.hpp"
#include "server/debrief/performance/flown_course.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/smoothing/smooth.hpp"

namespace turnstone::debrief {

/// `smoothed`: from a second before liftoff to the flight's end.
[[nodiscard]] PerformanceRecord performance_record(const OpenFlight& flight,
                                                   const std::vector<SmoothedSeries>& smoothed,
                                                   const estimate::DayAtmosphere& day, const Site& site,
                                                   std::size_t parachutes);

/// All that a flight shows, with what it was found from.
struct FlightPerformance {
    RocketModel rocket;
    nlohmann::json vehicle; ///< vehicle.json
    analysis::Masses masses;
    std::vector<SmoothedSeries> smoothed;
    Performance found;
};

/// Fails for a vehicle other than a rocket, and when the flight cannot be smoothed.
[[nodiscard]] Result<FlightPerformance> flight_performance(OpenFlight& flight, const Advance& advance);

} // namespace turnstone::debrief
