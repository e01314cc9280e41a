#pragma once
/// Everything the pipeline knows of one vehicle: what its packets say, which of them are new, when they were
/// made, and the estimators that follow from them. Links hand it frames; it does not know how many links
/// there are.
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "protocol/framing/deframer.hpp"
#include "protocol/packet/decoder.hpp"
#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/link/link_quality.hpp"
#include "server/pipeline/schema.hpp"
#include "server/pipeline/vehicle/clock_correlation.hpp"
#include "server/pipeline/vehicle/onboard_clock.hpp"
#include "server/pipeline/vehicle/packet_merge.hpp"
#include "server/pipeline/vehicle/router.hpp"

namespace turnstone {

/// Puts a chain's rows and events into a batch. `out` and `t_found_ns` are set for each call on the chain.
class BatchSink final : public EstimateSink {
  public:
    BatchSink(int vehicle, std::string vehicle_name, TableId first_table)
        : vehicle_(vehicle), prefix_(std::move(vehicle_name) + "/"), first_table_(first_table) {}
    void row(std::size_t table, std::int64_t t_ns, std::span<const double> values) override;
    void event(EstimateEvent event) override;

    Batch* out = nullptr;
    std::int64_t t_found_ns = 0;

  private:
    int vehicle_;
    std::string prefix_;
    TableId first_table_;
};

/// Appends a row of numbers that came from no packet.
void append_row(Batch& out, TableId table, std::int64_t t_ns, std::int64_t t_rx_ns, std::span<const double> values);

class VehicleTrack {
  public:
    VehicleTrack(const VehicleSetup& setup, int vehicle, const VehicleTables& tables, Router router,
                 EstimatorChain chain);

    [[nodiscard]] EstimatorChain& chain() noexcept { return chain_; }
    /// Chains that hear of the wind this vehicle measures: every vehicle's, its own among them. To be given
    /// once all tracks stand where they stay.
    void share_wind(std::vector<EstimatorChain*> chains) { wind_chains_ = std::move(chains); }
    /// Says once what this vehicle cannot have.
    void announce(std::int64_t t_ns, Batch& out) const;
    /// A good frame of a link that carries this vehicle: fills in `record` and appends what follows from the
    /// packet. `record.link`, times and place in the stream are set already; `record` is appended here.
    void packet(std::span<const std::byte> packet, FrameRecord record, LinkQuality& quality, Batch& out);
    /// `utc_offset_s` and `utc_bound_s`: system UTC minus station time, and how far it wandered.
    void tick(std::int64_t t_ns, double utc_offset_s, double utc_bound_s, std::int64_t t_start_ns, Batch& out);
    void set_prediction_period(double period_s) { chain_.set_prediction_period(period_s); }

  private:
    void follow_clock(const ClockReading& reading, std::int64_t t_rx_ns, Batch& out);
    void append_rows(const DecodedPacket& decoded, const FrameRecord& record, bool to_estimators, bool mapped,
                     Batch& out);
    [[nodiscard]] std::int64_t row_time_ns(const FrameRecord& record, bool mapped, double offset_ms) const noexcept;

    const VehicleSetup* setup_;
    int vehicle_;
    VehicleTables tables_;
    Router router_;
    EstimatorChain chain_;
    std::vector<EstimatorChain*> wind_chains_;
    BatchSink sink_;
    Decoder decoder_;
    OnboardClock clock_;
    ClockCorrelation correlation_;
    double newest_delay_s_;
    std::vector<PacketMerge> merges_;        ///< by Dictionary::packets
    std::vector<std::int16_t> kind_of_apid_; ///< -1: unknown
};

} // namespace turnstone
