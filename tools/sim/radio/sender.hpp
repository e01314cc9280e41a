#pragma once
/// Plays a delivered stream into an output at its own times, or faster.
#include <atomic>
#include <optional>
#include <utility>
#include <vector>

#include "tools/sim/radio/impairment.hpp"
#include "tools/sim/radio/output.hpp"

namespace turnstone::sim {

/// From first to second, seconds of the run, the cable is out.
using Unplugged = std::pair<double, double>;

/// Writes every delivery in pieces of at most 32 bytes, each when its last byte would have arrived, `speed`
/// times as fast as real time; 0: as fast as the reader takes them. Ends early when `stop` becomes true.
[[nodiscard]] Result<void> play(const DeliveredStream& stream, Output& output, double speed,
                                const std::optional<Unplugged>& unplugged, const std::atomic<bool>& stop);

} // namespace turnstone::sim
