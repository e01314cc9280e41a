#pragma once
/// Reads everything the settings name: what a server starts from. Vehicle folders: server/setup/vehicle_folder.hpp.
#include <memory>
#include <optional>
#include <vector>

#include "server/link/link.hpp"
#include "server/pipeline/setup.hpp"
#include "server/setup/settings.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

struct ServeSetup {
    std::shared_ptr<const PipelineSetup> pipeline;
    std::vector<LinkUri> uris;                   ///< the k-th belongs to pipeline->links[k]
    std::optional<BrokerAccess> publish_to = {}; ///< empty: nowhere
};

/// The vehicles of the folders, and those that links without one describe. Those without mistakes.
[[nodiscard]] std::vector<VehicleSetup> read_vehicles(const Settings& settings, std::vector<Problem>& problems);

/// Empty when any mistake was added.
[[nodiscard]] std::optional<ServeSetup> read_setup(Settings settings, std::vector<Problem>& problems);

} // namespace turnstone
