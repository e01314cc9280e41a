#pragma once
/// The part of a recording's setup that viewers see.
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/setup.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

struct VehicleDescription {
    std::string name;
    std::string title;
    std::string dictionary_version;
    bool has_rocket = false;
    std::vector<Parachute> parachutes = {}; ///< in order of use; empty too where this version cannot read of them
    std::vector<Procedure> procedures = {};
    std::optional<Readiness> readiness = {};
    std::string mass_csv = {}; ///< its mass record, as written; empty: none
};

struct SetupDescription {
    std::vector<VehicleDescription> vehicles;
    Site site;
    std::vector<LinkSetup> links;
};

[[nodiscard]] SetupDescription describe(const PipelineSetup& setup);

} // namespace turnstone
