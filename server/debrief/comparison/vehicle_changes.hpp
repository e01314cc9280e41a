#pragma once
/// What changed in a vehicle's file from one flight to another.
#include <cstddef>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace turnstone::debrief {

struct VehicleChange {
    std::string pointer;   ///< JSON Pointer, RFC 6901
    nlohmann::json before; ///< null: it was not there
    nlohmann::json after;  ///< null: it is gone
};

/// Members by their names, elements by their places; a value that is an object or an array on one side only is one
/// change. At most `most`, in the order of the pointers.
[[nodiscard]] std::vector<VehicleChange> vehicle_changes(const nlohmann::json& before, const nlohmann::json& after,
                                                         std::size_t most = 500);

} // namespace turnstone::debrief
