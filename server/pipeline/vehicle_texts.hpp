#pragma once
/// The two texts of a vehicle folder -> what a pipeline needs of the vehicle. Text only: folders are read by
/// server/setup, recordings by server/record.
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// Fill their half of `setup`; `file` names the text's source in messages.
void read_dictionary_text(std::string text, const std::string& file, VehicleSetup& setup,
                          std::vector<Problem>& problems);
void read_vehicle_text(std::string text, const std::string& file, VehicleSetup& setup, std::vector<Problem>& problems);

/// Both halves, from `where`/dictionary.json and `where`/vehicle.json. Empty when any mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                                             const std::string& where, std::vector<Problem>& problems);

} // namespace turnstone
