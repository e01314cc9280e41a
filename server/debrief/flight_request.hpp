#pragma once
/// The request of a job that works on one flight: {"flight":ID}.
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "shared/result.hpp"

namespace turnstone::debrief {

/// The flight's id. `job` names the request in what is wrong with it.
[[nodiscard]] Result<std::string> parse_flight_request(const nlohmann::json& json, const std::string& job);

} // namespace turnstone::debrief
