#pragma once
/// Dictionary, vehicle and site texts -> what a pipeline needs.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/pipeline.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// `where` names the source of the texts in messages. Empty when any mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                                             const std::string& where, std::vector<Problem>& problems);
/// Reads dictionary.json and vehicle.json of a folder; both must name the same vehicle. Empty when any mistake was
/// added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder,
                                                              std::vector<Problem>& problems);

} // namespace turnstone
