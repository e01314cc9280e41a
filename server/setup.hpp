#pragma once
/// Vehicle folders and the site file as text and as read: what a pipeline starts from.
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include "server/config.hpp"
#include "server/link/link.hpp"
#include "server/pipeline/pipeline.hpp"

namespace turnstone {

/// Reads dictionary.json and vehicle.json of a folder; both must name the same vehicle. Empty when any
/// mistake was added.
[[nodiscard]] std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder,
                                                              std::vector<Problem>& problems);

struct ServeSetup {
    std::shared_ptr<const PipelineSetup> pipeline;
    std::vector<LinkUri> uris; ///< the k-th belongs to pipeline->links[k]
};

/// Reads everything a checked config names. Empty when any mistake was added.
[[nodiscard]] std::optional<ServeSetup> read_setup(const Config& config, std::vector<Problem>& problems);

} // namespace turnstone
