#pragma once
/// The columns of FlightState's tables, in the order of its rows.
#include "server/estimate/table.hpp"

namespace turnstone {

[[nodiscard]] EstimateTable air_table();
[[nodiscard]] EstimateTable vertical_table();
[[nodiscard]] EstimateTable phase_table();

} // namespace turnstone
