#pragma once
/// Vehicle folders, read from disk.
#include <filesystem>
#include <optional>
#include <vector>

#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// Reads dictionary.json and vehicle.json of a folder, which must name the same vehicle, and, where they are,
/// readiness.json and procedures/ID.json. Empty when any mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder,
                                                              std::vector<Problem>& problems);
/// Reads several, each of another vehicle. Returns those without mistakes.
[[nodiscard]] std::vector<VehicleSetup> read_vehicle_folders(const std::vector<std::filesystem::path>& folders,
                                                             std::vector<Problem>& problems);

} // namespace turnstone
