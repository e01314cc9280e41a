#pragma once
/// How long engines have run, as the recordings of a directory tell it.
///
/// The recordings are the only place it is kept: a row of running time is committed together with the bytes it was
/// counted from, so that a killed process can neither lose more than the row under way (a second) nor count twice. Each
/// recording begins with the total of those before it (engine_total_action), so the newest alone is enough when
/// older ones are moved away. The greatest total counts: a station clock that was wrong cannot hide hours.
/// Recordings that were reprocessed, or made from a capture (link file:), tell what others told already and do not
/// count.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/pipeline.hpp"

namespace turnstone {

/// Greatest total of the vehicle's engine in any recording of the directory, seconds; empty when none tells. Files
/// that cannot be read are passed over, with a line in the log.
[[nodiscard]] std::optional<double> engine_running_s(const std::filesystem::path& directory,
                                                     const std::string& vehicle);

/// The actions a server's first recording begins with. Reads only for vehicles that can tell an engine's speed.
/// Call it before the recorder is made: it then cannot meet the repair of what a killed process left.
[[nodiscard]] std::vector<Action> engine_totals(const std::filesystem::path& directory, const PipelineSetup& setup);

} // namespace turnstone
