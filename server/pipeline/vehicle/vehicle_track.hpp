#pragma once
/// Everything the pipeline knows of one vehicle: what its packets say, which of them are new, when they were made, and
/// the estimators that follow from them. Links hand it frames; it does not know how many links there are.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/link_delay.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "server/pipeline/vehicle/clock_correlation.hpp"
#include "server/pipeline/vehicle/onboard_clock.hpp"
#include "server/pipeline/vehicle/packet_merge.hpp"
#include "server/pipeline/vehicle/range_judge.hpp"
#include "server/pipeline/vehicle/router.hpp"

namespace turnstone {

/// System UTC against station time.
struct UtcOffset {
    double offset_s; ///< system UTC minus station time; NaN: not known
    double wander_s; ///< how far it moved lately
};

/// This computer's UTC against GNSS time, by the times that fixes carry.
struct StationAgainstGnss {
    double ahead_s = kNaN; ///< NaN: no fix says its time
    double bound_s = kNaN; ///< about 95 %
};

/// What the clock's table is filled from.
struct ClockFigures {
    const ClockFit& fit;
    double onboard_zero_s; ///< station time at which the vehicle's clock was zero, after the start of the recording
    double delay_s;        ///< of the newest packet, beyond the smallest
    std::uint32_t boots;
    UtcOffset utc;
    double least_delay_bound_s; ///< of what the link's least delay is taken to be, about 95 %
    StationAgainstGnss gnss;
};
/// "<vehicle>/estimate/clock": with every tick, once there is a packet.
[[nodiscard]] TableOf<ClockFigures> clock_table();

/// First ids of a vehicle's tables; the tables of one part follow each other.
struct VehicleTables {
    TableId packets; ///< of Dictionary::tables, in their order
    TableId clock;
    TableId estimates; ///< of estimate::EstimatorChain::tables(), in their order
};

/// What became of a good frame.
struct PacketOutcome {
    FrameRecord record;
    /// Of Dictionary::packets, when its sequence count is known: also that of a packet of the wrong size, so that it
    /// does not count as lost.
    std::optional<std::size_t> kind = {};
    /// The dictionary's version that the packet tells (role dictionary_version); valid until the next packet.
    std::optional<std::string_view> told_version = {};
    /// The link that alone had brought this packet until now, when this is a duplicate by another.
    std::optional<LinkId> no_longer_alone = {};
    /// Of a packet that counts: values that no sensor can say, when its kind does not fit the dictionary; see
    /// RangeJudge. Valid until the next packet.
    std::span<const std::string> unfit = {};
};

class VehicleTrack {
  public:
    /// `setup`, `site` and `schema` must outlive it. `relayed`: one of its links at least is another station's.
    VehicleTrack(const VehicleSetup& setup, const Site& site, int vehicle, const Schema& schema,
                 const VehicleTables& tables, Router router, estimate::EstimatorChain chain, bool relayed);

    [[nodiscard]] estimate::EstimatorChain& chain() noexcept { return chain_; }
    [[nodiscard]] const estimate::EstimatorChain& chain() const noexcept { return chain_; }
    /// Chains that hear of the wind this vehicle measures: every vehicle's, its own among them. Set it once all tracks
    /// have their final addresses.
    void share_wind(std::vector<estimate::EstimatorChain*> chains) { wind_chains_ = std::move(chains); }
    /// Announces, once, the estimates this vehicle cannot have.
    void announce(std::int64_t t_ns, Batch& out) const;
    /// What a good frame of a link that carries this vehicle holds, as it came and decoded: fills in `record` and
    /// appends what follows from the packet. `record.link`, times and place in the stream are set already; `record` is
    /// appended here. `delay`: of that link, at least.
    PacketOutcome packet(const DecodedPacket& decoded, std::span<const std::byte> packet, FrameRecord record,
                         const LinkDelay& delay, Batch& out);
    void tick(std::int64_t t_ns, const UtcOffset& utc, std::int64_t t_start_ns, Batch& out);

  private:
    /// A clock on board, and station time against it. Each time code is one: what counts otherwise is another.
    struct Clock {
        OnboardClock onboard;
        ClockCorrelation correlation{};
    };
    /// `t_sent_ns`: the receive time less what the link takes at least.
    void follow_clock(std::size_t which, const ClockReading& reading, std::int64_t t_rx_ns, std::int64_t t_sent_ns,
                      Batch& out);
    [[nodiscard]] StationAgainstGnss against_gnss(const UtcOffset& utc) const noexcept;
    /// Raises or clears the alert about this computer's clock.
    void judge_station_clock(std::int64_t t_ns, const StationAgainstGnss& gnss, Batch& out);
    /// What a row says in the channel with the role dictionary_version, if it is of its table.
    [[nodiscard]] std::optional<std::string_view> told_version(const DecodedPacket& decoded) const noexcept;
    /// `t_heard_ns`: when a station received it. `clock`: that row times are mapped by; null: they are that time.
    void append_rows(const DecodedPacket& decoded, const FrameRecord& record, std::int64_t t_heard_ns,
                     bool to_estimators, const Clock* clock, Batch& out);
    [[nodiscard]] static std::int64_t row_time_ns(const FrameRecord& record, std::int64_t t_heard_ns,
                                                  const Clock* clock, double offset_ms) noexcept;
    [[nodiscard]] EventVehicle about() const noexcept { return {vehicle_, setup_->dictionary.vehicle}; }

    const VehicleSetup* setup_;
    const Schema* schema_;
    int vehicle_;
    VehicleTables tables_;
    Router router_;
    RangeJudge judge_;
    estimate::EstimatorChain chain_;
    std::vector<estimate::EstimatorChain*> wind_chains_;
    std::vector<Clock> clocks_; ///< by Dictionary::clocks; the first is the one that tables and events are about
    TableOf<ClockFigures> clock_table_ = clock_table();
    double newest_delay_s_;
    double delay_bound_s_;            ///< the smallest of the links heard; NaN before the first packet
    bool station_clock_off_ = false;  ///< alert raised
    std::vector<PacketMerge> merges_; ///< by Dictionary::packets
    /// Of packets that their sender does not count.
    struct Uncounted {
        UncountedMerge merge;
        std::uint16_t count = 0;
    };
    std::vector<Uncounted> uncounted_;       ///< by Dictionary::packets
    std::vector<std::int16_t> kind_of_apid_; ///< -1: unknown
    struct TextPlace {
        std::size_t table, text;
    };
    std::optional<TextPlace> version_at_;
};

} // namespace turnstone
