#pragma once
/// Columns of NavigationStage's tables.
#include "server/estimate/table.hpp"

namespace turnstone {

EstimateTable navigation_table();
EstimateTable look_table();
EstimateTable compare_table();

} // namespace turnstone
