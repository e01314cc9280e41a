/// Frames against the examples of RFC 6455 section 5.7.
#include <catch2/catch.hpp>

#include <span>
#include <string>
#include <vector>

#include "server/serve/parse/websocket_frame.hpp"
#include "tests/support/hex.hpp"

using namespace turnstone;

namespace {

/// Messages as "opcode:payload", or "!problem" at the end.
std::vector<std::string> read_all(const std::string& bytes, std::size_t piece) {
    ClientFrameReader reader;
    std::vector<std::string> out;
    const auto on_message = [&](Opcode opcode, std::string_view payload) {
        out.push_back(std::to_string(static_cast<int>(opcode)) + ":" + std::string(payload));
    };
    for (std::size_t at = 0; at < bytes.size(); at += piece) {
        const std::string part = bytes.substr(at, piece);
        if (!reader.push(std::as_bytes(std::span(part)), on_message)) {
            out.push_back("!" + std::string(reader.problem()));
            break;
        }
    }
    return out;
}

} // namespace

TEST_CASE("client frames of RFC 6455 are read in any split") {
    struct Case {
        std::string name, hex;
        std::vector<std::string> expected;
    };
    const std::vector<Case> cases{
        {"single masked text", "818537fa213d7f9f4d5158", {"1:Hello"}},
        {"masked pong with a body", "8a8537fa213d7f9f4d5158", {"10:Hello"}},
        {"text in two fragments, mask of zeros",
         "018300000000"
         "48656c"
         "808200000000"
         "6c6f",
         {"1:Hello"}},
        {"ping between fragments",
         "018300000000"
         "48656c"
         "898000000000"
         "808200000000"
         "6c6f",
         {"9:", "1:Hello"}},
        {"empty text", "818000000000", {"1:"}},
        {"close with code 1000",
         "888200000000"
         "03e8",
         {"8:\x03\xe8"}},
        {"not masked", "810548656c6c6f", {"!a client's frame must be masked (RFC 6455 section 5.1)"}},
        {"reserved bit", "c18000000000", {"!a reserved bit is set, but no extension was agreed"}},
        {"unknown data frame", "838000000000", {"!unknown frame type"}},
        {"unknown control frame", "8b8000000000", {"!unknown frame type"}},
        {"fragmented ping", "098000000000", {"!a control frame must not be fragmented and has at most 125 bytes"}},
        {"continuation of nothing", "808000000000", {"!message fragments out of order"}},
        {"text inside a text",
         "018000000000"
         "818000000000",
         {"!message fragments out of order"}},
        {"4097 bytes", "81fe100100000000", {"!a message may have at most 4096 bytes"}},
        {"2^63 bytes", "81ff800000000000000000000000", {"!a message may have at most 4096 bytes"}},
        {"close with half a code", "88810000000003", {"!a close code has two bytes"}},
        // Section 5.2: the minimal number of bytes must be used to encode the length.
        {"125 in two more bytes",
         "81fe007d00000000",
         {"!a frame's length is not in its shortest form (RFC 6455 section 5.2)"}},
        {"126 in eight more bytes",
         "81ff000000000000007e00000000",
         {"!a frame's length is not in its shortest form (RFC 6455 section 5.2)"}},
        {"65535 in eight more bytes",
         "82ff000000000000ffff00000000",
         {"!a frame's length is not in its shortest form (RFC 6455 section 5.2)"}},
        // Section 5.5.1: a close reason is UTF-8. Section 8.1: so is a text.
        {"close whose reason is UTF-8",
         "888400000000"
         "03e8c3a9",
         {"8:\x03\xe8\xc3\xa9"}},
        {"close whose reason is not",
         "888400000000"
         "03e8c328",
         {"!a close reason is UTF-8 (RFC 6455 section 5.5.1)"}},
        {"text with a surrogate",
         "818300000000"
         "eda080",
         {"!a text message is UTF-8 (RFC 6455 section 8.1)"}},
        {"character over two fragments",
         "018100000000"
         "c3"
         "808100000000"
         "a9",
         {"1:\xc3\xa9"}},
    };
    REQUIRE(cases.size() == 23);
    for (const Case& c : cases)
        for (const std::size_t piece : {1u, 2u, 3u, 7u, 1000u}) {
            INFO(c.name << ", pieces of " << piece);
            CHECK(read_all(test::text_from_hex(c.hex), piece) == c.expected);
        }
}

TEST_CASE("server frame headers are those of RFC 6455 section 5.7") {
    CHECK(frame_header(Opcode::text, 5) == test::text_from_hex("8105"));
    CHECK(frame_header(Opcode::binary, 125) == test::text_from_hex("827d"));
    CHECK(frame_header(Opcode::binary, 126) == test::text_from_hex("827e007e"));
    CHECK(frame_header(Opcode::binary, 256) == test::text_from_hex("827e0100"));
    CHECK(frame_header(Opcode::binary, 65535) == test::text_from_hex("827effff"));
    CHECK(frame_header(Opcode::binary, 65536) == test::text_from_hex("827f0000000000010000"));
    CHECK(*close_message(CloseCode::too_slow, "slow") == test::text_from_hex("88061138") + "slow");
    CHECK(close_message(CloseCode::bad_message, std::string(500, 'x'))->size() == 2 + 125);
}
