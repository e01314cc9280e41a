#pragma once
/// What a vehicle's two files say of its sensors without a mistake, and what still costs a flight its figures.
#include <string>
#include <vector>

#include "server/pipeline/setup.hpp"

namespace turnstone {

/// One sentence each: two sensors for one role, and which of them is used; fields that hold less than their sensor
/// measures.
[[nodiscard]] std::vector<std::string> sensor_remarks(const VehicleSetup& vehicle);

} // namespace turnstone
