// Source: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999, and the
// widely published table of examples, by way of tests/reference/cobs.json (also computed with an npm library).
#include <catch2/catch.hpp>

#include "protocol/framing/cobs.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

Bytes decoded(const Bytes& encoded, CobsStatus expected = CobsStatus::complete) {
    const Exact in(encoded);
    Bytes room(encoded.size());
    const Exact out(room);
    const CobsResult result = cobs_decode(in.span(), out.span());
    CHECK(result.status == expected);
    const auto produced = out.span().first(result.produced);
    return {produced.begin(), produced.end()};
}

Bytes encoded(const Bytes& plain) {
    Bytes out(plain.size() + cobs_overhead_max(plain.size()));
    const CobsResult result = cobs_encode(plain, out);
    CHECK(result.status == CobsStatus::complete);
    CHECK(result.consumed == plain.size());
    out.resize(result.produced);
    return out;
}

} // namespace

TEST_CASE("COBS examples encode to the short form and decode from both forms", "[cobs]") {
    int forms_differ = 0;
    int checked = 0;
    const nlohmann::json& reference = read_reference("cobs.json");
    for (const auto& example : reference["cobs"]) {
        INFO(example["id"]);
        const Bytes plain = from_hex(example["payload_hex"].get<std::string>());
        const Bytes short_form = from_hex(example["encoded_hex"].get<std::string>());
        const Bytes long_form = from_hex(example["encoded_full_final_block_form_hex"].get<std::string>());
        CHECK(to_hex(encoded(plain)) == to_hex(short_form));
        CHECK(to_hex(decoded(short_form)) == to_hex(plain));
        CHECK(to_hex(decoded(long_form)) == to_hex(plain));
        forms_differ += example["forms_differ"].get<bool>() ? 1 : 0;
        ++checked;
    }
    CHECK(checked == static_cast<int>(reference["cobs"].size()));
    CHECK(checked >= 20);
    CHECK(forms_differ >= 2);
}

TEST_CASE("invalid COBS is refused, with counts that say how far it was right", "[cobs]") {
    struct Case {
        const char* hex;
        CobsStatus status;
        std::size_t consumed;
        const char* produced_hex;
    };
    // The first four are cobs_invalid of the reference file.
    for (const Case& c :
         {Case{"0311002233", CobsStatus::zero_inside, 2, "11"}, Case{"05112233", CobsStatus::cut_short, 4, "112233"},
          Case{"FF0102", CobsStatus::cut_short, 3, "0102"}, Case{"00", CobsStatus::zero_inside, 0, ""},
          Case{"021100", CobsStatus::zero_inside, 2, "11"}, Case{"0211FF", CobsStatus::cut_short, 3, "1100"}}) {
        INFO(c.hex);
        const Exact in(from_hex(c.hex));
        Bytes room(64);
        const CobsResult result = cobs_decode(in.span(), room);
        CHECK(result.status == c.status);
        CHECK(result.consumed == c.consumed);
        CHECK(to_hex(std::span(room).first(result.produced)) == c.produced_hex);
    }
}

TEST_CASE("decoding undoes encoding at every length around the block limit", "[cobs]") {
    std::mt19937 random(1);
    for (const unsigned zero_percent : {0U, 1U, 30U, 90U, 100U}) {
        for (std::size_t size = 0; size <= 1020;
             size += (size > 20 && size < 245) || (size > 262 && size < 500) ? 7 : 1) {
            const Bytes plain = random_bytes(random, size, zero_percent);
            const Bytes stuffed = encoded(plain);
            REQUIRE(std::find(stuffed.begin(), stuffed.end(), std::byte{0}) == stuffed.end());
            REQUIRE(stuffed.size() <= plain.size() + cobs_overhead_max(plain.size()));
            REQUIRE(decoded(stuffed) == plain);
        }
    }
}

TEST_CASE("encoding works in place behind its own overhead", "[cobs]") {
    std::mt19937 random(2);
    for (const unsigned zero_percent : {0U, 5U, 60U}) {
        for (const std::size_t size : {1U, 2U, 253U, 254U, 255U, 508U, 509U, 1000U}) {
            const Bytes plain = random_bytes(random, size, zero_percent);
            const std::size_t ahead = cobs_overhead_max(size);
            Bytes buffer(ahead + size);
            std::copy(plain.begin(), plain.end(), buffer.begin() + static_cast<std::ptrdiff_t>(ahead));
            const CobsResult result = cobs_encode(std::span(buffer).subspan(ahead), buffer);
            REQUIRE(result.status == CobsStatus::complete);
            buffer.resize(result.produced);
            REQUIRE(buffer == encoded(plain));
        }
    }
}

TEST_CASE("an output that is too small is never overrun and holds what fits", "[cobs]") {
    std::mt19937 random(3);
    const Bytes plain = random_bytes(random, 300, 4);
    const Bytes stuffed = encoded(plain);
    for (std::size_t room = 0; room < plain.size(); ++room) {
        const Exact out(Bytes(room, std::byte{0xEE}));
        const CobsResult decoding = cobs_decode(stuffed, out.span());
        REQUIRE(decoding.status == CobsStatus::no_room);
        REQUIRE(decoding.produced <= room);
        REQUIRE(std::equal(plain.begin(), plain.begin() + static_cast<std::ptrdiff_t>(decoding.produced),
                           out.span().begin()));
        const CobsResult encoding = cobs_encode(plain, out.span());
        REQUIRE(encoding.status == CobsStatus::no_room);
        REQUIRE(encoding.produced <= room);
    }
    Bytes enough(plain.size());
    CHECK(cobs_decode(stuffed, enough).status == CobsStatus::complete);
}
