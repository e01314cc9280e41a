#pragma once
/// What an operator writes into a recording that is closed: a name, a description, a bookmark. It goes in as an action
/// at the recording's end, with the events that follow from it, so that verifying and reprocessing meet it like any
/// other.
#include <filesystem>

#include "server/pipeline/action.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// Of Marker, Note, ChangeMark, NameFlight and DescribeFlight only. Fails for a recording that is being written, that
/// is not complete, or whose layout is older; then nothing in it has changed.
[[nodiscard]] Result<void> add_action(const std::filesystem::path& recording, const Action& action);

} // namespace turnstone
