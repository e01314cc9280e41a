#pragma once
/// The texts of a vehicle folder -> what a pipeline needs of the vehicle. Text only: folders are read by
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
/// Appends to its files, and reads those that the pipeline uses: readiness.json, procedures/ID.json.
void read_folder_file(FolderFile file, const std::string& where, VehicleSetup& setup, std::vector<Problem>& problems);

/// All of them, as if from `where`/dictionary.json and so on. Empty when any mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                                             const std::string& where, std::vector<Problem>& problems,
                                                             std::vector<FolderFile> files = {});

} // namespace turnstone
