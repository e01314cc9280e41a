#pragma once
/// What is new in pieces that may come more than once: a station sends again what the broker may have lost.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "protocol/broker/piece.hpp"

namespace turnstone {

class PieceOrder {
  public:
    struct Taken {
        std::size_t known_bytes = 0;     ///< at the piece's begin, that have come before
        std::uint64_t missing_bytes = 0; ///< before the piece, that will not come
    };

    /// Pieces of one link in the order they come. The first of a stream may begin anywhere: what came before it was
    /// sent before anyone listened here.
    Taken take(const Piece& piece) noexcept {
        const std::uint64_t bytes = piece.byte_count(), begin = piece.head.offset;
        if (stream_ != piece.head.stream) next_ = begin;
        stream_ = piece.head.stream;
        Taken taken;
        if (begin > next_)
            taken.missing_bytes = begin - next_;
        else
            taken.known_bytes = static_cast<std::size_t>(std::min(next_ - begin, bytes));
        next_ = std::max(next_, begin + bytes);
        return taken;
    }

  private:
    std::optional<std::uint64_t> stream_;
    std::uint64_t next_ = 0; ///< offset
};

} // namespace turnstone
