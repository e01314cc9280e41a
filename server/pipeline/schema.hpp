#pragma once
/// Lays out the schema: which tables there are, in which order, and where each part of the pipeline finds its
/// own.
#include <cstddef>
#include <vector>

#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/pipeline.hpp"

namespace turnstone {

/// First ids; the tables of one part follow each other.
struct VehicleTables {
    TableId packets; ///< of Dictionary::tables, in their order
    TableId clock;
    TableId estimates; ///< of EstimatorChain::tables(), in their order
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

/// Columns of the clock table, in order.
enum class ClockColumn : unsigned char {
    onboard_zero_s,
    onboard_zero_bound_s,
    drift_ppm,
    drift_bound_ppm,
    delay_s,
    boots,
    utc_offset_s,
    utc_bound_s,
    count_
};
/// Columns of a link's totals, in order.
enum class LinkColumn : unsigned char {
    bytes,
    frames_good,
    frames_bad,
    bad_stuffing,
    bad_checksum,
    bad_length,
    too_long,
    dropped_bytes,
    received,
    lost,
    copies,
    late,
    out_of_order,
    restarts,
    undecodable,
    idle,
    byte_rate_1s,
    byte_rate_10s,
    byte_rate_60s,
    rate_1s,
    rate_10s,
    rate_60s,
    loss_1s,
    loss_10s,
    loss_60s,
    age_s,
    count_
};
/// Columns of one kind of packet on a link, in order.
enum class LinkPacketColumn : unsigned char {
    received,
    lost,
    copies,
    late,
    out_of_order,
    restarts,
    rate_1s,
    rate_10s,
    rate_60s,
    loss_1s,
    loss_10s,
    loss_60s,
    age_s,
    count_
};

/// A link's totals come with every tick; its kinds of packets once a second, because there are many of them
/// and they are looked at one by one.
inline constexpr std::int64_t kLinkPacketPeriodNs = 1'000'000'000;

[[nodiscard]] SchemaLayout build_schema(const PipelineSetup& setup, const std::vector<EstimatorChain>& chains);

} // namespace turnstone
