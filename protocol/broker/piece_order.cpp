#include "protocol/broker/piece_order.hpp"

#include <algorithm>
#include <utility>

namespace turnstone {

void PieceOrder::give(const Piece& piece, const OnPiece& on_piece) {
    const std::uint64_t begin = piece.head.offset, bytes = piece.byte_count();
    const std::uint64_t missing = begin > next_ ? begin - next_ : 0;
    const std::uint64_t known = begin > next_ ? 0 : std::min(next_ - begin, bytes);
    next_ = std::max(next_, begin + bytes);
    on_piece(piece, static_cast<std::size_t>(known), missing);
}

void PieceOrder::give_held(bool over_gaps, const OnPiece& on_piece) {
    while (!held_.empty() && (over_gaps || held_.begin()->first <= next_)) {
        const std::vector<std::byte> message = std::move(held_.begin()->second);
        held_.erase(held_.begin());
        held_bytes_ -= message.size();
        give(*read_piece(message), on_piece);
    }
}

void PieceOrder::take(std::span<const std::byte> message, const Piece& piece, std::int64_t now_ns,
                      const OnPiece& on_piece) {
    if (stream_ != piece.head.stream) {
        give_held(true, on_piece);
        stream_ = piece.head.stream;
        next_ = piece.head.offset;
    }
    if (piece.head.offset <= next_) {
        give(piece, on_piece);
        give_held(false, on_piece);
        t_gap_ns_ = now_ns;
    } else if (auto& held = held_[piece.head.offset]; held.size() < message.size()) {
        if (held_.size() == 1) t_gap_ns_ = now_ns;
        held_bytes_ += message.size() - held.size();
        held.assign(message.begin(), message.end());
    }
    look(now_ns, on_piece);
}

void PieceOrder::look(std::int64_t now_ns, const OnPiece& on_piece) {
    if (held_.empty() || (now_ns - t_gap_ns_ < kGapMost_ns && held_bytes_ <= kHeldBytesMax)) return;
    give_held(true, on_piece);
}

} // namespace turnstone
