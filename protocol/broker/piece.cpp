#include "protocol/broker/piece.hpp"

#include <string>

namespace turnstone {

namespace {

constexpr std::uint8_t kFormat = 1;
constexpr std::uint64_t kNumberEnd = std::uint64_t{1} << 62; // sums and differences of two fit

/// Big-endian numbers from the front.
class PieceBytes {
  public:
    explicit PieceBytes(std::span<const std::byte> left) : left_(left) {}

    [[nodiscard]] std::size_t left() const noexcept { return left_.size(); }
    [[nodiscard]] std::span<const std::byte> take(std::size_t count) noexcept {
        const auto taken = left_.first(count);
        left_ = left_.subspan(count);
        return taken;
    }
    [[nodiscard]] std::uint64_t number(std::size_t octets) noexcept {
        std::uint64_t value = 0;
        for (const std::byte octet : take(octets)) value = value << 8 | std::to_integer<std::uint64_t>(octet);
        return value;
    }

  private:
    std::span<const std::byte> left_;
};

void append(std::vector<std::byte>& out, std::uint64_t value, unsigned octets) {
    for (unsigned k = octets; k-- > 0;) out.push_back(static_cast<std::byte>(value >> (8 * k)));
}

constexpr std::size_t kHeadBytes = 1 + 4 * 8, kChunkHeadBytes = 8 + 4;

} // namespace

std::size_t Piece::byte_count() const noexcept {
    std::size_t sum = 0;
    for (const PieceChunk& chunk : chunks) sum += chunk.bytes.size();
    return sum;
}

Result<Piece> read_piece(std::span<const std::byte> message) {
    if (message.size() > kPieceBytesMax) return fail("is longer than any message of this format");
    if (message.size() < kHeadBytes) return fail("is cut short");
    PieceBytes in(message);
    if (const std::uint64_t format = in.number(1); format != kFormat)
        return fail("is of format " + std::to_string(format) + ", and this program reads format " +
                    std::to_string(kFormat));
    Piece piece{};
    piece.head.stream = in.number(8);
    piece.head.clock = in.number(8);
    piece.head.offset = in.number(8);
    const std::uint64_t sent_ns = in.number(8);
    if (piece.head.offset >= kNumberEnd || sent_ns >= kNumberEnd) return fail("has a number that cannot be");
    piece.head.sent_ns = static_cast<std::int64_t>(sent_ns);
    while (in.left() > 0) {
        if (in.left() < kChunkHeadBytes) return fail("is cut short");
        const std::uint64_t t_rx_ns = in.number(8);
        const std::uint64_t size = in.number(4);
        if (t_rx_ns >= kNumberEnd) return fail("has a number that cannot be");
        if (size == 0) return fail("has a chunk without bytes");
        if (size > in.left()) return fail("is cut short");
        piece.chunks.push_back({static_cast<std::int64_t>(t_rx_ns), in.take(static_cast<std::size_t>(size))});
    }
    if (piece.chunks.empty()) return fail("has no chunk");
    return piece;
}

std::vector<std::byte> write_piece(const Piece& piece) {
    std::vector<std::byte> out;
    out.reserve(kHeadBytes + piece.chunks.size() * kChunkHeadBytes + piece.byte_count());
    append(out, kFormat, 1);
    append(out, piece.head.stream, 8);
    append(out, piece.head.clock, 8);
    append(out, piece.head.offset, 8);
    append(out, static_cast<std::uint64_t>(piece.head.sent_ns), 8);
    for (const PieceChunk& chunk : piece.chunks) {
        append(out, static_cast<std::uint64_t>(chunk.t_rx_ns), 8);
        append(out, chunk.bytes.size(), 4);
        out.insert(out.end(), chunk.bytes.begin(), chunk.bytes.end());
    }
    return out;
}

} // namespace turnstone
