#pragma once
/// Proves, before anything is received, that a recording of a setup can be made.
#include <optional>
#include <string>

#include "server/pipeline/station/pipeline.hpp"

namespace turnstone {

/// Makes a recording's tables in memory, as the recorder makes them. Returns what was wrong; empty: nothing.
[[nodiscard]] std::optional<std::string> why_not_recordable(const Schema& schema);
[[nodiscard]] std::optional<std::string> why_not_recordable(const PipelineSetup& setup);

} // namespace turnstone
