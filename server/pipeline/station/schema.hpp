#pragma once
/// Lays out the schema: the tables, their order, and where each part of the pipeline finds its own.
#include <vector>

#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/station/pipeline.hpp"

namespace turnstone {

/// First ids; the tables of one part follow each other.
struct VehicleTables {
    TableId packets; ///< of Dictionary::tables, in their order
    TableId clock;
    TableId estimates; ///< of estimate::EstimatorChain::tables(), in their order
};
struct LinkTables {
    TableId totals;
    TableId packets; ///< one for each of Dictionary::packets
};

struct SchemaLayout {
    Schema schema;
    std::vector<VehicleTables> vehicles;
    std::vector<LinkTables> links;
};

[[nodiscard]] SchemaLayout build_schema(const PipelineSetup& setup,
                                        const std::vector<estimate::EstimatorChain>& chains);

} // namespace turnstone
