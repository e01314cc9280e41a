#pragma once
/// Coming down: when it touches down.
///
/// Heights are steady and nothing shakes: dated to the last shock before, or to where the descent meets the ground. By
/// forces alone: an impact and then a long rest, tipped over.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

/// After each height, and with each tick while the barometer is silent. `began_ns`: of the phase.
[[nodiscard]] MaybeFound find_touchdown(const FlightEvidence& evidence, std::int64_t apogee_ns, std::int64_t began_ns);

} // namespace turnstone::estimate
