#pragma once
/// What a pipeline is set up with: vehicles, site and links.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"
#include "server/pipeline/checklist/procedure.hpp"
#include "server/pipeline/checklist/readiness.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

/// Between ticks (server/pipeline/station/pipeline.hpp).
inline constexpr std::int64_t kTickNs = 100'000'000;

/// A file of a vehicle's folder besides dictionary.json and vehicle.json.
struct FolderFile {
    std::string name; ///< within the folder: "procedures/bench-check.json"
    std::string text;
    friend bool operator==(const FolderFile&, const FolderFile&) = default;
};

/// A vehicle folder as text and as read; the texts go into the recording.
struct VehicleSetup {
    std::string dictionary_json;
    std::string vehicle_json;
    Dictionary dictionary;
    Vehicle vehicle;
    std::vector<FolderFile> files = {}; ///< in the order of their names
    // As `files` says.
    std::vector<Procedure> procedures = {};
    std::optional<Readiness> readiness = {};
};

struct LinkSetup {
    std::string name;    ///< short, unique, [a-z0-9_-]+: "radio", "serial-2"
    std::string uri;     ///< as the operator gave it, for the record
    std::size_t vehicle; ///< index into PipelineSetup::vehicles: what it carries
};

struct PipelineSetup {
    std::vector<VehicleSetup> vehicles;
    std::string site_json;
    Site site;
    std::vector<LinkSetup> links;
};

} // namespace turnstone
