#pragma once
/// What the avionics keep at a kilohertz around the firing of a charge.
#include <vector>

#include "tools/sim/avionics/sensors.hpp"

namespace turnstone::sim {

/// `sensors`: whose biases the fast channels share.
[[nodiscard]] std::vector<Burst> keep_bursts(const Truth& truth, const Scenario& scenario, std::uint64_t seed,
                                             const SensorStream& sensors);

} // namespace turnstone::sim
