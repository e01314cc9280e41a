#pragma once
/// The import as a browser asks for it: an upload, then a job.
#include <filesystem>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "server/debrief/advance.hpp"
#include "server/debrief/recordings.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

/// {"kind": "columns" or "packets", "separator", "columns": [{"name", "first", "is_number"}], "mapping"}: what an
/// upload seems to be, and what its columns may mean: by the vehicle's log.json, or else by their names.
[[nodiscard]] Result<nlohmann::json> look_at_upload(const debrief::Recordings& recordings,
                                                    const std::filesystem::path& file, const std::string& flight_id);

/// {"flight", "upload", "name", "mapping" (an object, or null for packets), "align" (a word, or "auto")}. The upload is
/// removed when the import has succeeded; after a failure it can be tried again.
[[nodiscard]] Result<nlohmann::json> run_import_job(const debrief::Recordings& recordings,
                                                    const nlohmann::json& request, const debrief::Advance& advance);

} // namespace turnstone::exchange
