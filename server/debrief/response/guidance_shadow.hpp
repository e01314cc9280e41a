#pragma once
/// What a control law would have done on a recorded flight: the job "shadow". STREAM.md lists the answer's members.
#include <nlohmann/json.hpp>

#include "server/debrief/advance.hpp"
#include "server/debrief/recordings.hpp"
#include "shared/result.hpp"

namespace turnstone::debrief {

[[nodiscard]] Result<nlohmann::json> guidance_shadow(const Recordings& recordings, const nlohmann::json& request,
                                                     const Advance& advance);

} // namespace turnstone::debrief
