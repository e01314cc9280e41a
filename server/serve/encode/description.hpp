#pragma once
/// What a recording is, as JSON: section 1 of protocol/STREAM.md, and its entry in the list of recordings.
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/pipeline/setup.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// Entry of GET /api/recordings.
[[nodiscard]] nlohmann::json recording_json(const RecordingInfo& info, bool live);
[[nodiscard]] nlohmann::json description_json(const RecordingInfo& info, bool live, const Schema& schema,
                                              const PipelineSetup& setup);

/// From the file alone.
[[nodiscard]] Result<nlohmann::json> stored_description(RecordingReader& reader, bool live);
/// By LinkId.
[[nodiscard]] Result<std::vector<std::string>> stored_link_names(RecordingReader& reader);

} // namespace turnstone
