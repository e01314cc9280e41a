#pragma once
/// The complete log of a vehicle's computer, joined with what the radio brought of the same flight.
#include <filesystem>
#include <optional>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "server/debrief/advance.hpp"
#include "server/exchange/import/log/log_mapping.hpp"
#include "server/exchange/import/log/log_times.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

struct ImportRequest {
    std::filesystem::path recording; ///< closed
    std::string vehicle;             ///< empty: the only one
    std::filesystem::path log;
    std::string log_name;              ///< of the file, for people
    std::optional<LogMapping> mapping; ///< of a log in columns; empty: packets, framed as on the vehicle's first link
    std::optional<AlignBy> align;      ///< empty: by the on-board time where both have it, else by what both felt
    std::filesystem::path folder;      ///< for the new recording
};

/// Makes the merged recording. Returns {"recording": its id, "file", "alignment", "packets", "gaps", "channels"}; times
/// in seconds since its start. The recording and the log stay as they are.
[[nodiscard]] Result<nlohmann::json> import_log(const ImportRequest& request, const debrief::Advance& advance);

/// The mapping that a recording has of its vehicle's folder; empty: none, or one that cannot be read.
[[nodiscard]] std::optional<LogMapping> mapping_of(const VehicleSetup& vehicle);

} // namespace turnstone::exchange
