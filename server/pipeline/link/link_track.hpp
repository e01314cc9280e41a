#pragma once
/// One link in the pipeline: its deframer, its counters and its state as operators know it.
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/framing/deframer.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/link/link_quality.hpp"
#include "server/pipeline/schema.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"

namespace turnstone {

class LinkTrack {
  public:
    LinkTrack(const LinkSetup& setup, LinkId id, const LinkTables& tables, const Dictionary& dictionary);

    void bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes, VehicleTrack& vehicle, Batch& out);
    /// The link thread's word. False: no such state.
    bool state(std::int64_t t_ns, std::string_view state, const std::string& detail, Batch& out);
    void tick(std::int64_t t_ns, Batch& out);

    [[nodiscard]] const LinkSetup& setup() const noexcept { return *setup_; }
    [[nodiscard]] std::uint64_t bytes_in() const noexcept { return deframer_.counts().bytes_in; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return deframer_.pending(); }

  private:
    const LinkSetup* setup_;
    LinkId id_;
    LinkTables tables_;
    Deframer deframer_;
    LinkQuality quality_;
    bool down_ = false; ///< alert raised
};

} // namespace turnstone
