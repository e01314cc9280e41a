#pragma once
/// Brings the pieces of one link into their order: a station sends again what a broker may have lost, so that some come
/// twice, and some behind later ones.
#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <vector>

#include "protocol/broker/piece.hpp"

namespace turnstone {

class PieceOrder {
  public:
    /// What comes next: the first `known_bytes` of the piece have come before, and `missing_bytes` before it will not.
    using OnPiece = std::function<void(const Piece& piece, std::size_t known_bytes, std::uint64_t missing_bytes)>;

    /// `message`: of `piece`. The first of a stream may begin anywhere: what came before it was sent before anyone
    /// listened here. Pieces behind a gap wait for what is missing.
    void take(std::span<const std::byte> message, const Piece& piece, std::int64_t now_ns, const OnPiece& on_piece);
    /// Gives up gaps that have lasted for too long. Call it when something waits.
    void look(std::int64_t now_ns, const OnPiece& on_piece);
    [[nodiscard]] bool waits() const noexcept { return !held_.empty(); }

    static constexpr std::int64_t kGapMost_ns = 15'000'000'000; ///< a station sends again within ten seconds
    static constexpr std::size_t kHeldBytesMax = 8u << 20;      ///< more than that of messages does not wait

  private:
    void give(const Piece& piece, const OnPiece& on_piece);
    void give_held(bool over_gaps, const OnPiece& on_piece);

    std::optional<std::uint64_t> stream_;
    std::uint64_t next_ = 0;                               ///< offset
    std::map<std::uint64_t, std::vector<std::byte>> held_; ///< messages behind a gap, by offset
    std::size_t held_bytes_ = 0;
    std::int64_t t_gap_ns_ = 0; ///< when the first of them came
};

} // namespace turnstone
