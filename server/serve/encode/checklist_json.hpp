#pragma once
/// Procedures and readiness boards of a recording's description (STREAM.md, section 1).
#include <nlohmann/json_fwd.hpp>

#include "server/pipeline/series.hpp"
#include "server/record/read/description.hpp"

namespace turnstone {

/// `schema`: the recording's, whose tables say in which unit a check measures.
[[nodiscard]] nlohmann::json procedures_json(const VehicleDescription& vehicle, const Schema& schema);
/// null: the vehicle has no readiness board.
[[nodiscard]] nlohmann::json readiness_json(const VehicleDescription& vehicle, const Schema& schema);

} // namespace turnstone
