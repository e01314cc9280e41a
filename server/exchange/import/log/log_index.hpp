#pragma once
/// What an on-board log holds, packet by packet: where each ends, when it was made by the vehicle's clock, and how to
/// know it again.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/framing/framing.hpp"
#include "server/debrief/advance.hpp"
#include "server/exchange/import/log/log_mapping.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

struct LogPacket {
    std::uint64_t end;     ///< of its last byte in the file, plus one
    std::uint64_t id;      ///< of its kind, sequence count and on-board time; 0: it has no count
    std::uint64_t content; ///< hash
    std::int64_t raw_ns;   ///< the clock in it, rollovers of its boot removed; -1: it has none that can be
    std::uint32_t boot;    ///< restarts seen in the log before it
};

/// Values of one channel on one clock.
struct Signal {
    std::vector<double> t_s, value;
};

struct LogIndex {
    std::vector<LogPacket> packets;
    std::uint64_t bytes = 0, bad_frames = 0, undecodable = 0;
    std::uint32_t restarts = 0;
    std::vector<Signal> signals; ///< of the channel asked for, by boot, each on the clock of its boot
};

/// What tells a packet from others of its kind; none of one whose sender does not count.
[[nodiscard]] std::uint64_t packet_id(const DecodedPacket& packet) noexcept;

/// Follows clock `clock` of the dictionary. `signal`: TABLE.CHANNEL; empty: none.
[[nodiscard]] Result<LogIndex> read_log(const std::filesystem::path& file, const Framing& framing,
                                        const Dictionary& dictionary, std::size_t clock,
                                        std::optional<ChannelPlace> signal, const debrief::Advance& advance);

/// Calls `on_bytes` with pieces of a file in order. False from it: stop.
[[nodiscard]] Result<void> read_pieces(const std::filesystem::path& file,
                                       const std::function<bool(std::span<const std::byte>)>& on_bytes);

} // namespace turnstone::exchange
