#pragma once
/// Dictionary, vehicle and site texts -> what a pipeline needs.
#include <filesystem>
#include <string>

#include "server/pipeline/pipeline.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// `where` names the source of the texts in messages. Every mistake found is in the error.
[[nodiscard]] Result<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                                      const std::string& where);
/// A vehicle folder: dictionary.json and vehicle.json.
[[nodiscard]] Result<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder);

} // namespace turnstone
