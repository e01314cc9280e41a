// Messages of BROKER.md. The one written out was put together by hand from the table there.
#include <catch2/catch.hpp>

#include <algorithm>
#include <random>

#include "protocol/broker/piece.hpp"
#include "protocol/broker/piece_order.hpp"
#include "tests/protocol/bytes.hpp"
#include "tests/support/hex.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::vector<std::byte> pieces_of(std::size_t first, std::size_t count) {
    std::vector<std::byte> out;
    for (std::size_t k = first; k < first + count; ++k) out.push_back(static_cast<std::byte>(k * 7));
    return out;
}

const std::string kExample = "01"
                             "1122334455667788"
                             "000000000000002a"
                             "0000000000000400"
                             "18b1d7f3c0000064"
                             "18b1d7f3c0000000"
                             "00000003"
                             "a1b2c3"
                             "18b1d7f3c0000032"
                             "00000001"
                             "00";

} // namespace

TEST_CASE("A message is read as BROKER.md lays it out, and written so") {
    const auto message = from_hex(kExample);
    const auto piece = read_piece(message);
    REQUIRE(piece);
    CHECK(piece->head == PieceHead{0x1122334455667788, 42, 1024, 0x18b1d7f3c0000064});
    REQUIRE(piece->chunks.size() == 2);
    CHECK(piece->chunks[0].t_rx_ns == 0x18b1d7f3c0000000);
    CHECK(piece->chunks[0].bytes.size() == 3);
    CHECK(piece->chunks[0].bytes[2] == std::byte{0xc3});
    CHECK(piece->chunks[1].t_rx_ns == 0x18b1d7f3c0000032);
    CHECK(piece->byte_count() == 4);
    CHECK(write_piece(*piece) == message);
}

TEST_CASE("A message that is not whole is refused, and says why") {
    const auto message = from_hex(kExample);
    const std::size_t first_chunk_ends = 33 + 12 + 3;
    for (std::size_t size = 0; size < message.size(); ++size) {
        INFO(size);
        CHECK(read_piece(std::span(message).first(size)).has_value() == (size == first_chunk_ends));
    }
    const auto why = [&](std::size_t at, unsigned value) {
        auto changed = message;
        changed[at] = static_cast<std::byte>(value);
        const auto piece = read_piece(changed);
        return piece ? "" : piece.error().message;
    };
    CHECK(why(0, 2) == "is of format 2, and this program reads format 1");
    CHECK(why(17, 0x40) == "has a number that cannot be");
    CHECK(why(25, 0x80) == "has a number that cannot be");
    CHECK(why(33, 0x80) == "has a number that cannot be");
    CHECK(why(44, 0) == "has a chunk without bytes");
    CHECK(why(41, 0xff) == "is cut short");
    CHECK(read_piece(std::span(message).first(33)).error().message == "has no chunk");
    CHECK(read_piece(std::vector<std::byte>(kPieceBytesMax + 1)).error().message ==
          "is longer than any message of this format");
}

/// Takes pieces of a stream whose byte k is 7 k, and looks at what comes of them.
struct Taker {
    PieceOrder order;
    std::vector<bool> came;
    std::uint64_t missing = 0, known = 0;
    std::size_t last = 0; ///< behind the newest byte

    PieceOrder::OnPiece on_piece() {
        return [this](const Piece& piece, std::size_t known_bytes, std::uint64_t missing_bytes) {
            missing += missing_bytes;
            known += known_bytes;
            std::size_t at = piece.head.offset;
            for (const PieceChunk& chunk : piece.chunks)
                for (const std::byte byte : chunk.bytes) {
                    CHECK(byte == static_cast<std::byte>(at * 7));
                    if (at >= piece.head.offset + known_bytes) {
                        came.resize(std::max(came.size(), at + 1));
                        CHECK(!came[at]);
                        CHECK(at >= last); // in order
                        came[at] = true;
                        last = at + 1;
                    }
                    ++at;
                }
        };
    }
    void take(std::uint64_t stream, std::size_t offset, std::size_t size, std::int64_t now_ns = 0) {
        const auto bytes = pieces_of(offset, size);
        const auto message = write_piece({{stream, 1, offset, 0}, {{0, bytes}}});
        order.take(message, *read_piece(message), now_ns, on_piece());
    }
};

TEST_CASE("However often pieces are sent again, each byte comes once and in order, and what never comes is counted") {
    std::mt19937 random(20);
    for (int run = 0; run < 200; ++run) {
        INFO(run);
        Taker taker;
        std::size_t next = 0, end = 0;
        std::int64_t now_ns = 0;
        for (int step = 0; step < 60; ++step) {
            now_ns += 1'000'000'000;
            const std::size_t size = 1 + random() % 50;
            const auto what = random() % 6;
            if (what == 0) next -= random() % (next + 1); // again, from somewhere before
            if (what == 1 && next > 0) next += size;      // some are not sent, or come later
            taker.take(9, next, size, now_ns);
            next += size;
            end = std::max(end, next);
        }
        taker.order.look(now_ns + PieceOrder::kGapMost_ns, taker.on_piece());
        CHECK(!taker.order.waits());
        REQUIRE(taker.came.size() == end);
        CHECK(taker.missing == static_cast<std::uint64_t>(std::ranges::count(taker.came, false)));
    }
}

TEST_CASE("What comes behind later pieces comes in its place, while they wait for it") {
    Taker taker;
    taker.take(1, 500, 10, 0);
    CHECK(taker.last == 510);
    taker.take(1, 505, 10, 1);
    CHECK(taker.last == 515);
    CHECK(taker.known == 5);
    taker.take(1, 520, 10, 2);
    taker.take(1, 540, 10, 3);
    CHECK(taker.last == 515);
    taker.take(1, 510, 10, 4);
    CHECK(taker.last == 530);
    CHECK(taker.missing == 0);
    taker.take(1, 545, 10, 5);
    taker.take(1, 400, 10, PieceOrder::kGapMost_ns - 1);
    CHECK(taker.last == 530);
    CHECK(taker.order.waits());
    taker.order.look(2 * PieceOrder::kGapMost_ns, taker.on_piece());
    CHECK(taker.last == 555);
    CHECK(taker.missing == 10);
}

TEST_CASE("Another stream begins again, anywhere, and too much does not wait") {
    Taker taker;
    taker.take(1, 0, 10);
    taker.take(1, 20, 10);
    std::size_t pieces = 0;
    const PieceOrder::OnPiece counted = [&](const Piece&, std::size_t, std::uint64_t) { ++pieces; };
    const auto bytes = pieces_of(0, 10);
    const auto message = write_piece({{2, 1, 700, 0}, {{0, bytes}}});
    taker.order.take(message, *read_piece(message), 0, counted);
    CHECK(pieces == 2); // what waited, then this
    const std::vector<std::byte> large(kPieceBytesMax / 2);
    for (std::uint64_t k = 1; k <= 40 && pieces < 10; ++k) {
        const auto next = write_piece({{2, 1, 1000 + k * large.size(), 0}, {{0, large}}});
        taker.order.take(next, *read_piece(next), 0, counted);
    }
    CHECK(pieces == 2 + PieceOrder::kHeldBytesMax / large.size());
}
