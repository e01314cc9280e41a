/// Frames against the examples of RFC 6455 section 5.7, and messages against tests/golden/stream, which a third writer
/// made from the specification.
#include <catch2/catch.hpp>

#include <cmath>
#include <limits>

#include "server/pipeline/events.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/websocket_frame.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

std::string from_hex(const std::string& hex) {
    std::string out;
    for (std::size_t i = 0; i < hex.size(); i += 2)
        out.push_back(static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16)));
    return out;
}

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

/// The payload behind a server frame's header.
std::string payload_of(const WireMessage& wire) {
    const std::size_t size_7 = static_cast<unsigned char>((*wire)[1]);
    return wire->substr(size_7 == 126 ? 4 : size_7 == 127 ? 10 : 2);
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
        {"fragmented ping", "098000000000", {"!a control frame must be whole and at most 125 octets"}},
        {"continuation of nothing", "808000000000", {"!message fragments out of order"}},
        {"text inside a text",
         "018000000000"
         "818000000000",
         {"!message fragments out of order"}},
        {"4097 octets", "81fe100100000000", {"!a message may have at most 4096 octets"}},
        {"2^63 octets", "81ff800000000000000000000000", {"!a message may have at most 4096 octets"}},
        {"close with half a code", "88810000000003", {"!a close frame's code has two octets"}},
    };
    REQUIRE(cases.size() == 16);
    for (const Case& c : cases)
        for (const std::size_t piece : {1u, 2u, 3u, 7u, 1000u}) {
            INFO(c.name << ", pieces of " << piece);
            CHECK(read_all(from_hex(c.hex), piece) == c.expected);
        }
}

TEST_CASE("server frame headers are those of RFC 6455 section 5.7") {
    CHECK(frame_header(Opcode::text, 5) == from_hex("8105"));
    CHECK(frame_header(Opcode::binary, 125) == from_hex("827d"));
    CHECK(frame_header(Opcode::binary, 126) == from_hex("827e007e"));
    CHECK(frame_header(Opcode::binary, 256) == from_hex("827e0100"));
    CHECK(frame_header(Opcode::binary, 65535) == from_hex("827effff"));
    CHECK(frame_header(Opcode::binary, 65536) == from_hex("827f0000000000010000"));
    CHECK(*close_message(CloseCode::too_slow, "slow") == from_hex("88061138") + "slow");
    CHECK(close_message(CloseCode::bad_message, std::string(500, 'x'))->size() == 2 + 125);
}

TEST_CASE("block messages equal the golden bytes") {
    const auto schema = golden_schema();
    BlockEncoder encoder;
    Batch batch; // rows of two tables interleaved, as a pipeline makes them
    add_row(batch, 0, 3.0, {98.5, 0.5});
    add_row(batch, 2, 3.04, {120.75, 0.5, 55.25, 0.25, 1.0});
    add_row(batch, 0, 3.005, {99.0, -0.5});
    add_row(batch, 0, 3.01, {-0.25, 0.125});
    add_row(batch, 2, 2.96, {118.5, 0.5, -kNan, 0.25, 1.0});
    add_row(batch, 0, 3.015, {kNan, 1e-300});
    const BlockMessage message = encoder.rows(batch, *schema, kTapeStartNs, 42, {});
    CHECK(payload_of(message.wire) == golden_bytes("block_live.hex"));
    CHECK(message.from_t_s == 2.96);
    CHECK(message.to_t_s == 3.04);
    CHECK(encoder.rows(Batch{}, *schema, kTapeStartNs, 7, {}).wire == nullptr);

    LatestRows latest(golden_schema()->tables.size());
    latest[0] = {kTapeStartNs + 12'500'000'000, {9.75, -9.75}};
    latest[1] = {kTapeStartNs + 12'250'000'000, {87850.0}};
    CHECK(payload_of(encoder.newest(latest, kTapeStartNs, 900)) == golden_bytes("block_coalesced.hex"));
}

TEST_CASE("series answers equal the golden bytes") {
    SeriesBlock plain;
    plain.rows = 3;
    plain.t_ns = {kTapeStartNs, kTapeStartNs + 500'000'000, kTapeStartNs + 1'000'000'000};
    plain.count = {1, 1, 1};
    plain.min = plain.max = plain.mean = {87850.0, kNan, 87849.5};
    CHECK(encode_series(plain, 1, 1, kTapeStartNs) == golden_bytes("series_plain.hex"));

    SeriesBlock decimated;
    decimated.rows = 2;
    decimated.t_ns = {kTapeStartNs + 10'000'000'000, kTapeStartNs + 11'000'000'000};
    decimated.count = {200, 1};
    decimated.min = {-3.5, kNan, 0.0, 1.0};
    decimated.max = {160.0, kNan, 0.5, 1.0};
    decimated.mean = {4.25, kNan, 0.25, 1.0};
    CHECK(encode_series(decimated, 0, 2, kTapeStartNs) == golden_bytes("series_decimated.hex"));
}

TEST_CASE("texts equal the golden texts") {
    RecordingInfo info;
    info.id = kTapeId;
    info.name = "First light";
    info.version = "0.1.0";
    info.t_start_ns = info.utc_start_ns = kTapeStartNs;
    info.t_end_ns = kTapeStartNs + 12'500'000'000;
    info.file_bytes = 81920;
    LatestRows latest(golden_schema()->tables.size());
    latest[0] = {kTapeStartNs + 12'500'000'000, {9.75, kNan}};
    latest[2] = {kTapeStartNs + 12'400'000'000, {1034.5, 0.5, -2.25, 0.25, 1.0}};
    CHECK(json::parse(hello_text({false, false, "0123456789abcdef0123456789abcdef"},
                                 description_json(info, true, *golden_schema(), *golden_setup()),
                                 latest_json(latest, kTapeStartNs))) == json::parse(golden_text("hello.json")));
    CHECK(json::parse(event_text(phase_event(3.25), kTapeStartNs)) == json::parse(golden_text("event.json")));
    const Event missing = make_event({.id = EventId::estimate_missing,
                                      .t_ns = kTapeStartNs,
                                      .about = "air",
                                      .values = {{"estimate", std::string("air")},
                                                 {"needs", std::vector<std::string>{"static_pressure"}},
                                                 {"any", false}}},
                                     kTapeStartNs, {.index = 0, .name = "sanderling"});
    CHECK(json::parse(event_text(missing, kTapeStartNs)) == json::parse(golden_text("event_missing.json")));
    CHECK(json::parse(gap_text({101, 180, 4.0, 4.75})) == json::parse(golden_text("gap.json")));
    CHECK(json::parse(replay_text({4.5, true, 2.5, 12.5}, std::nullopt, nullptr)) ==
          json::parse(golden_text("replay.json")));
    LatestRows at_cursor(golden_schema()->tables.size());
    at_cursor[1] = {kTapeStartNs + 4'480'000'000, {87850.0}};
    const json rows = latest_json(at_cursor, kTapeStartNs);
    CHECK(json::parse(replay_text({4.5, false, 1.0, 12.5}, 9, &rows)) == json::parse(golden_text("replay_seek.json")));
    CHECK(json::parse(error_text("seek needs 't_s', a number of seconds since the recording's start", 8)) ==
          json::parse(golden_text("error.json")));
    RecorderStatus recorder;
    recorder.recording = true;
    recorder.file_bytes = 81920;
    recorder.disk_free_bytes = 1'000'000'000;
    const std::vector<LinkView> links{
        {"radio", LinkState::no_data, "no bytes for 3.2 s", 123456, kTapeStartNs + 9'500'000'000},
        {"spare", LinkState::cannot_open, "/dev/ttyUSB1: no such file", 0, 0}};
    CHECK(json::parse(status_text(links, recorder, 3, kTapeStartNs + 12'750'000'000, kTapeStartNs + 12'750'000'000,
                                  kTapeStartNs)) == json::parse(golden_text("status.json")));
}

TEST_CASE("text that is no UTF-8 still makes a JSON text") {
    const std::string replaced = "\xef\xbf\xbd\xef\xbf\xbd bad"; // U+FFFD twice
    const json text = json::parse(event_text(note_event(1, "\xff\xfe bad"), kTapeStartNs));
    CHECK(text.at("text") == replaced);
    CHECK(text.at("data") == json{{"text", replaced}});
}
