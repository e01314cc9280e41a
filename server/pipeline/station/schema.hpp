#pragma once
/// Lays out the schema: the tables, their order, and where each part of the pipeline finds its own.
#include <vector>

#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/link/link_track.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"

namespace turnstone {

struct SchemaLayout {
    Schema schema;
    std::vector<VehicleTables> vehicles;
    std::vector<LinkTables> links;
};

[[nodiscard]] SchemaLayout build_schema(const PipelineSetup& setup,
                                        const std::vector<estimate::EstimatorChain>& chains);

} // namespace turnstone
