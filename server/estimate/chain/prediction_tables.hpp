#pragma once
/// Columns of PredictionStage's tables.
#include "server/estimate/table.hpp"

namespace turnstone {

EstimateTable ascent_table();
EstimateTable landing_table();

} // namespace turnstone
