#pragma once
/// A message of BROKER.md: a piece of what a station received by one of its links, as chunks with their receive times.
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

struct PieceHead {
    std::uint64_t stream; ///< what the offsets count in; drawn when the station began to publish
    std::uint64_t clock;  ///< which of the station's clocks the times are of: each start of the station sets another
    std::uint64_t offset; ///< of the first byte, from the link's first in this stream; below 2^62
    std::int64_t sent_ns; ///< by that clock, as t_rx_ns: from 0 to below 2^62
    friend bool operator==(const PieceHead&, const PieceHead&) = default;
};

struct PieceChunk {
    std::int64_t t_rx_ns;             ///< when the station read it
    std::span<const std::byte> bytes; ///< at least one
};

struct Piece {
    PieceHead head;
    std::vector<PieceChunk> chunks; ///< at least one; their bytes are those of the message
    [[nodiscard]] std::size_t byte_count() const noexcept;
};

/// No message is longer: the longest chunk, a datagram, many times over.
inline constexpr std::size_t kPieceBytesMax = 1u << 20;

/// Fails with what is wrong with the message, as the end of a sentence: "is cut short".
[[nodiscard]] Result<Piece> read_piece(std::span<const std::byte> message);

/// A piece with at least one chunk, none of them empty, of at most kPieceBytesMax together.
[[nodiscard]] std::vector<std::byte> write_piece(const Piece& piece);

} // namespace turnstone
