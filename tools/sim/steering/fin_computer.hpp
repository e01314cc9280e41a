#pragma once
/// What commands the fins of a simulated vehicle: the pulses of a logging flight, or a control law flown closed loop,
/// by a small computer with a rate sensor of its own. Written from protocol/schema/law.schema.json alone: the ground's
/// shadow of the same law shares nothing with it.
///
/// The computer takes its sensor's bias from its rest on the rail, counts angles from liftoff, and knows the dynamic
/// pressure to some per cent, from an air data unit that is not modelled further.
#include <memory>

#include "shared/result.hpp"
#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::sim {

/// For `run_truth`; empty when the scenario steers nothing. Throws std::runtime_error when its law cannot be read.
[[nodiscard]] FinCommand fin_command(const Scenario& scenario, std::uint64_t seed);

} // namespace turnstone::sim
