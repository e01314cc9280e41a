#pragma once
/// Vehicle folders, read from disk.
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// dictionary.json of a vehicle whose folder has none, by its name; empty: it needs one.
using MakeDictionary = std::function<std::optional<std::string>(const std::string& vehicle)>;

/// Reads dictionary.json and vehicle.json of a folder, which must name the same vehicle, and, where they are,
/// readiness.json, procedures/ID.json, mass.csv and log.json. Empty when any mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder,
                                                              std::vector<Problem>& problems,
                                                              const MakeDictionary& make_dictionary = {});
/// Reads several, each of another vehicle. Returns those without mistakes.
[[nodiscard]] std::vector<VehicleSetup> read_vehicle_folders(const std::vector<std::filesystem::path>& folders,
                                                             std::vector<Problem>& problems,
                                                             const MakeDictionary& make_dictionary = {});

} // namespace turnstone
