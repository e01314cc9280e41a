#pragma once
/// One link in the pipeline: its framing, its counters and its state as operators know it.
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "protocol/framing/frame.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "server/pipeline/action.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/link/code_table.hpp"
#include "server/pipeline/link/link_diagnosis.hpp"
#include "server/pipeline/link/link_quality.hpp"
#include "server/pipeline/link/receivers.hpp"
#include "server/pipeline/link/site_clock.hpp"
#include "server/pipeline/link_delay.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"

namespace turnstone {

/// What a link's table is filled from.
struct LinkFigures {
    const DeframerCounts& frames;
    const LinkQuality& quality;
    const ReceiverCounts& receiver;
    double clock_lead_s; ///< see SiteClock; NaN: not of another station
    double relay_s;
    std::int64_t t_ns;
};
/// "link/<name>": once a second.
[[nodiscard]] TableOf<LinkFigures> link_table();

/// What the table of one kind of packet on a link is filled from.
struct PacketFigures {
    const PacketQuality& quality;
    std::int64_t t_ns;
};
/// "link/<name>.<packet>": once a second.
[[nodiscard]] TableOf<PacketFigures> link_packet_table();

/// First ids of a link's tables.
struct LinkTables {
    TableId totals;
    TableId packets;             ///< one for each of Dictionary::packets
    std::optional<TableId> code; ///< of telemetry streams
};

class LinkTrack {
  public:
    /// `setup` and `schema` must outlive it.
    LinkTrack(const LinkSetup& setup, LinkId id, const Schema& schema, const LinkTables& tables,
              const Dictionary& dictionary);

    /// `vehicle` and `receivers`: of the vehicle that it carries.
    void bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes, VehicleTrack& vehicle, Receivers& receivers,
               Batch& out);
    void report(std::int64_t t_ns, const LinkReport& report, Batch& out);
    /// The station runs again, and has heard nothing since then.
    void resumed(std::int64_t t_last_ns) noexcept { absent_since_ns_ = t_last_ns; }
    /// The chunks that come next were received by another station.
    void relayed(std::int64_t t_ns, const Relayed& times);
    void tick(std::int64_t t_ns, const Receivers& receivers, Batch& out);

    [[nodiscard]] const std::optional<CopyKind>& copies() const noexcept { return reader_.copies(); }
    [[nodiscard]] const LinkSetup& setup() const noexcept { return *setup_; }
    [[nodiscard]] std::uint64_t bytes_in() const noexcept { return reader_.counts().bytes_in; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return reader_.pending(); }

  private:
    void count(const PacketOutcome& outcome);
    /// From here on what is not heard is the link's.
    void end_absence(std::int64_t t_ns) noexcept;
    /// What a damaged frame and its copies on other links give together. `record`: its own.
    void combine(const Frame& frame, const FrameRecord& record, VehicleTrack& vehicle, Receivers& receivers,
                 Batch& out);
    /// Raises, changes or clears the alert that says what is wrong.
    void diagnose(std::int64_t t_ns, Batch& out);
    void judge_site_clock(std::int64_t t_ns, Batch& out);

    const LinkSetup* setup_;
    LinkDelay delay_; ///< of the chunk under way
    SiteClock site_clock_;
    std::deque<double> relay_s_; ///< of the chunks to come: since another station received them
    double newest_relay_s_;
    bool site_clock_off_ = false; ///< alert raised
    const Schema* schema_;
    LinkId id_;
    LinkTables tables_;
    FrameReader reader_;
    LinkQuality quality_;
    LinkDiagnosis diagnosis_;
    std::optional<std::int64_t> absent_since_ns_;
    TableOf<LinkFigures> table_ = link_table();
    TableOf<PacketFigures> packet_table_ = link_packet_table();
    TableOf<CodePeriod> code_table_ = code_table();
    unsigned correctable_;
    CodeFigures code_before_;
    bool down_ = false;                  ///< alert raised
    std::optional<LinkTrouble> trouble_; ///< alert raised; never beside the other
};

} // namespace turnstone
