#pragma once
/// What another station recorded of the same flight, joined with this one's recording: its links become further links,
/// each chunk at the time of this station's clock at which it came there. The pipeline does what it does with any links
/// of one vehicle; damaged frames of both are combined too.
#include <filesystem>

#include <nlohmann/json_fwd.hpp>

#include "server/debrief/advance.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

struct OtherStationRequest {
    std::filesystem::path recording, other; ///< closed
    std::filesystem::path folder;           ///< for the new recording
};

/// Makes the joined recording. Returns {"recording": its id, "file", "alignment", "links"}. Both stay as they are. Of
/// the other's inputs its links' bytes and states are taken; what people did there is not.
[[nodiscard]] Result<nlohmann::json> import_station(const OtherStationRequest& request,
                                                    const debrief::Advance& advance);

} // namespace turnstone::exchange
