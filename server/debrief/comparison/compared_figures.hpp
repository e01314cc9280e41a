#pragma once
/// The figures of several flights beside each other.
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/compared_flight.hpp"

namespace turnstone::debrief {

/// Of each figure that any flight has: values by flight, mean, spread, 95 % interval of the mean, outliers (of bearings
/// none of these), and what was predicted of each on the rail with the outcome less that.
[[nodiscard]] nlohmann::json figures_json(const std::vector<ComparedFlight>& flights);

/// A straight line through each figure but bearings of at least three flights over a day or more, against their dates:
/// its slope with standard error and 95 % interval.
[[nodiscard]] nlohmann::json trend_json(const std::vector<ComparedFlight>& flights);

} // namespace turnstone::debrief
