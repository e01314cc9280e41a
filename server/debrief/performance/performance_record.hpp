#pragma once
/// What is asked of a flight for its performance, out of its recording and its smoothed motion.
#include <optional>
#include <vector>

#include "server/debrief/flights/open_flight.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/smoothing/smooth.hpp"

namespace turnstone::debrief {

/// The rows of a column, in seconds since liftoff.
struct RowsOfColumn {
    std::vector<double> t_s, value;
};

/// A course on the times of the smoothed vertical motion. `mach` and `density_kg_m3` are the recorded air data's;
/// `up_mps` the recorded vertical motion's, beside which the air data's speed has its part across the vertical.
[[nodiscard]] analysis::Course course_of(const std::vector<SmoothedSeries>& smoothed, std::int64_t liftoff_ns,
                                         const RowsOfColumn& mach, const RowsOfColumn& speed_of_sound_mps,
                                         const RowsOfColumn& density_kg_m3, const RowsOfColumn& up_mps);

/// `smoothed`: from a second before liftoff to the flight's end.
[[nodiscard]] PerformanceRecord performance_record(const OpenFlight& flight,
                                                   const std::vector<SmoothedSeries>& smoothed, std::size_t parachutes);

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
