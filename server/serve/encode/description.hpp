#pragma once
/// What a recording is, as JSON: section 1 of protocol/STREAM.md, and its entry in the list of recordings.
#include <nlohmann/json_fwd.hpp>

#include "server/record/read/reader.hpp"

namespace turnstone {

/// Entry of GET /api/recordings.
[[nodiscard]] nlohmann::json recording_json(const RecordingInfo& info, bool live);
[[nodiscard]] nlohmann::json description_json(const RecordingInfo& info, bool live, const Schema& schema,
                                              const SetupDescription& setup);
/// From the file alone, whichever version wrote it.
[[nodiscard]] nlohmann::json stored_description(RecordingReader& reader, bool live);

} // namespace turnstone
