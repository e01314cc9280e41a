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
    PieceOrder order;
    fuzz::demand(order.take(*piece).known_bytes == 0);
    fuzz::demand(order.take(*piece).known_bytes == piece->byte_count());
    Piece later = *piece;
    later.head.offset += piece->byte_count() + 1;
    fuzz::demand(order.take(later).missing_bytes == 1);
    return 0;
}
