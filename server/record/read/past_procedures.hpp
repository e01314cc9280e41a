#pragma once
/// Procedures that were run before, from the recordings of a directory. They are kept nowhere else: a recording of a
/// ground test says itself that it was passed, and the hash of its bytes says which recording was meant. Recordings
/// under way, reprocessed or made from a capture (link file:) do not count.
#include <filesystem>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// One for each procedure of the setup that was begun in a recording of the directory. Files that cannot be read are
/// skipped, with a line in the log. Only recordings that were passed last are read as a whole, for their hash.
[[nodiscard]] std::vector<Action> past_procedures(const std::filesystem::path& directory, const PipelineSetup& setup);

} // namespace turnstone
