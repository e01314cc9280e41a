#pragma once
/// A flight's motion against the air, from its smoothed motion and what was recorded of the air.
#include <cstdint>
#include <vector>

#include "server/analysis/performance/course.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/smoothing/smooth.hpp"
#include "server/estimate/air/air_data.hpp"
#include "server/estimate/air/wind_profile.hpp"
#include "shared/site.hpp"

namespace turnstone::debrief {

/// The rows of a column, in seconds since liftoff.
struct RowsOfColumn {
    std::vector<double> t_s, value;
};

/// What was recorded beside the vertical motion.
struct RecordedAir {
    RowsOfColumn mach, mach_sigma, speed_of_sound_mps, density_kg_m3;
    RowsOfColumn up_mps; ///< of the vertical motion
};

/// The site's wind, corrected by the smoothed drift under the parachutes of `events`. What hangs lags behind the wind
/// by v / g, v its rate of descent: a parachute counts from four times that after it came out, when all but 2 % of the
/// vehicle's own way has gone.
[[nodiscard]] estimate::WindProfile wind_by_drift(const Site& site, const std::vector<SmoothedSeries>& smoothed,
                                                  std::int64_t liftoff_ns, const PerformanceRecord& events);

/// A course on the times of the smoothed vertical motion. Across the vertical it moves as fixes say, smoothed, against
/// `wind`; without fixes, or where nothing is known of the wind, by what the recorded speed against the air has beside
/// the vertical one, and is known as well as that was. Empty without vertical motion.
[[nodiscard]] analysis::Course course_of(const std::vector<SmoothedSeries>& smoothed,
                                         const estimate::DayAtmosphere& day, const estimate::WindProfile& wind,
                                         std::int64_t liftoff_ns, const RecordedAir& recorded);

} // namespace turnstone::debrief
