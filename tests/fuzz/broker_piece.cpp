// Messages from a broker: what can be read is written again as it was, and its bytes are accounted for.
#include "protocol/broker/piece.hpp"
#include "protocol/broker/piece_order.hpp"
#include "tests/fuzz/framings.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    const auto message = std::as_bytes(std::span(data, size));
    const auto piece = read_piece(message);
    if (!piece) {
        fuzz::demand(!piece.error().message.empty());
        return 0;
    }
    fuzz::demand(!piece->chunks.empty() && piece->byte_count() < size);
    fuzz::demand(std::ranges::equal(write_piece(*piece), message));
    // Once, again, and behind a gap of one byte, which is given up in time.
    std::uint64_t given = 0, known = 0, missing = 0;
    const PieceOrder::OnPiece on_piece = [&](const Piece& each, std::size_t known_bytes, std::uint64_t missing_bytes) {
        given += each.byte_count();
        known += known_bytes;
        missing += missing_bytes;
    };
    PieceOrder order;
    order.take(message, *piece, 0, on_piece);
    order.take(message, *piece, 0, on_piece);
    fuzz::demand(given == 2 * piece->byte_count() && known == piece->byte_count() && missing == 0 && !order.waits());
    Piece later = *piece;
    later.head.offset += piece->byte_count() + 1;
    const auto later_message = write_piece(later);
    if (!read_piece(later_message)) return 0; // past the greatest offset
    order.take(later_message, later, 0, on_piece);
    fuzz::demand(order.waits());
    order.look(PieceOrder::kGapMost_ns, on_piece);
    fuzz::demand(given == 3 * piece->byte_count() && missing == 1 && !order.waits());
    return 0;
}
