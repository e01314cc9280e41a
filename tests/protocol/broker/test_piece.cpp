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

TEST_CASE("However often pieces are sent again, each byte is new once, and what never comes is counted") {
    std::mt19937 random(20);
    for (int run = 0; run < 200; ++run) {
        INFO(run);
        PieceOrder order;
        std::vector<bool> came;
        std::uint64_t missing = 0;
        std::size_t next = 0;
        for (int step = 0; step < 60; ++step) {
            const std::size_t size = 1 + random() % 50;
            const auto what = random() % 6;
            if (what == 0) next -= random() % (next + 1); // again, from somewhere before
            if (what == 1 && !came.empty()) next += size; // the station left some out
            const auto bytes = pieces_of(next, size);
            const auto taken = order.take({{9, 1, next, 0}, {{0, bytes}}});
            missing += taken.missing_bytes;
            came.resize(std::max(came.size(), next + size));
            for (std::size_t k = next + taken.known_bytes; k < next + size; ++k) {
                CHECK(!came[k]);
                came[k] = true;
            }
            next += size;
        }
        CHECK(missing == static_cast<std::uint64_t>(std::ranges::count(came, false)));
    }
}

TEST_CASE("A stream may be joined anywhere, and another one begins anew") {
    PieceOrder order;
    const auto bytes = pieces_of(0, 10);
    const auto take = [&](std::uint64_t stream, std::uint64_t offset) {
        return order.take({{stream, 1, offset, 0}, {{0, bytes}}});
    };
    CHECK(take(1, 500).missing_bytes == 0);
    CHECK(take(1, 505).known_bytes == 5);
    CHECK(take(1, 400).known_bytes == 10);
    CHECK(take(1, 520).missing_bytes == 5);
    CHECK(take(2, 0).known_bytes == 0);
    CHECK(take(2, 10).missing_bytes == 0);
}
