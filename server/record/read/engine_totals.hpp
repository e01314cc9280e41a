#pragma once
/// Engine hours, from the recordings of a directory.
///
/// They are kept nowhere else: a row of running time is committed with the bytes it was counted from, so that a killed
/// process neither loses more than the row under way (a second) nor counts twice. Each recording begins with the total
/// of those before it (EngineTotal), so the newest alone is enough when older ones are moved away. The greatest
/// total counts, so that a wrong station clock cannot hide hours. Recordings that were reprocessed, or made from a
/// capture (link file:), repeat what others hold and do not count.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Greatest total of the vehicle's engine in any recording of the directory, seconds; empty when none has one. Files
/// that cannot be read are skipped, with a line in the log.
[[nodiscard]] std::optional<double> engine_running_s(const std::filesystem::path& directory,
                                                     const std::string& vehicle);

/// The actions a server's first recording begins with. Reads only for vehicles that report an engine's speed. Call it
/// before making the recorder, which repairs what a killed process left.
[[nodiscard]] std::vector<Action> engine_totals(const std::filesystem::path& directory, const PipelineSetup& setup);

} // namespace turnstone
