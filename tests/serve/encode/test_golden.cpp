/// Messages against tests/golden/stream, made from protocol/STREAM.md by a writer that shares no code with the server.
#include <catch2/catch.hpp>

#include <limits>

#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"
#include "server/serve/encode/blocks.hpp"
#include "server/serve/encode/description.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/websocket_frame.hpp"
#include "tests/serve/golden_tape.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

/// The payload behind a server frame's header.
std::string payload_of(const WireMessage& wire) {
    const std::size_t size_7 = static_cast<unsigned char>((*wire)[1]);
    return wire->substr(size_7 == 126 ? 4 : size_7 == 127 ? 10 : 2);
}

} // namespace

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
    const auto messages = encoder.rows(batch, *schema, kTapeStartNs, 42, {});
    REQUIRE(messages.size() == 1);
    const BlockMessage& message = messages.front();
    CHECK(payload_of(message.wire) == golden_bytes("block_live.hex"));
    CHECK(message.from_t_s == 2.96);
    CHECK(message.to_t_s == 3.04);
    CHECK(encoder.rows(Batch{}, *schema, kTapeStartNs, 7, {}).empty());

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
    const json hello = json::parse(hello_text(
        {.is_operator = false, .replay = false, .server_id = "0123456789abcdef0123456789abcdef"},
        description_json(info, true, *golden_schema(), describe(*golden_setup())), latest_json(latest, kTapeStartNs)));
    CHECK(json::diff(hello, json::parse(golden_text("hello.json"))) == json::array()); // as a patch, when it fails
    CHECK(json::parse(event_text(phase_event(3.25), kTapeStartNs)) == json::parse(golden_text("event.json")));
    const Event missing = make_event({.id = EventId::estimate_missing,
                                      .t_ns = kTapeStartNs,
                                      .about = "air",
                                      .values = {{"estimate", std::string("air")},
                                                 {"needs", std::vector<std::string>{"static_pressure"}},
                                                 {"any", false}}},
                                     kTapeStartNs, {.index = 0, .name = "sanderling"});
    CHECK(json::parse(event_text(missing, kTapeStartNs)) == json::parse(golden_text("event_missing.json")));
    const Event raised = make_event({.id = EventId::limit,
                                     .t_ns = kTapeStartNs + 6'000'000'000,
                                     .about = "baro.static_pressure/low",
                                     .values = {{"title", std::string("Static pressure")},
                                                {"side", std::string("low")},
                                                {"value", 49000.0},
                                                {"limit", 50000.0},
                                                {"unit", std::string("Pa")},
                                                {"decimals", 0.0}},
                                     .level = Level::advisory,
                                     .advice = "Look at the barometer"},
                                    kTapeStartNs + 7'000'000'000, {.index = 0, .name = "sanderling"});
    CHECK(json::parse(event_text(raised, kTapeStartNs)) == json::parse(golden_text("event_raised.json")));
    const Event decided = make_event({.id = EventId::check_decided,
                                      .t_ns = kTapeStartNs + 7'000'000'000,
                                      .about = "bench/level",
                                      .values = {{"procedure", std::string("bench")},
                                                 {"check", std::string("level")},
                                                 {"title", std::string("Level")},
                                                 {"state", std::string("fails")},
                                                 {"measured", 0.5},
                                                 {"limit", 0.25},
                                                 {"margin", -0.25},
                                                 {"required", std::string("± 0.25 m/s²")},
                                                 {"unit", std::string("m/s2")},
                                                 {"decimals", 2.0},
                                                 {"why", std::string()}}},
                                     kTapeStartNs + 7'000'000'000, {.index = 0, .name = "sanderling"});
    CHECK(json::parse(event_text(decided, kTapeStartNs)) == json::parse(golden_text("event_check.json")));
    CHECK(json::parse(gap_text({.from_seq = 101, .to_seq = 180, .from_t_s = 4.0, .to_t_s = 4.75})) ==
          json::parse(golden_text("gap.json")));
    CHECK(json::parse(replay_text({.cursor_s = 4.5, .playing = true, .rate = 2.5, .t_end_s = 12.5}, std::nullopt,
                                  nullptr)) == json::parse(golden_text("replay.json")));
    LatestRows at_cursor(golden_schema()->tables.size());
    at_cursor[1] = {kTapeStartNs + 4'480'000'000, {87850.0}};
    const json rows = latest_json(at_cursor, kTapeStartNs);
    CHECK(json::parse(replay_text({.cursor_s = 4.5, .playing = false, .rate = 1.0, .t_end_s = 12.5}, 9, &rows)) ==
          json::parse(golden_text("replay_seek.json")));
    CHECK(json::parse(led_text(
              {.recording = "2026-05-17T143205Z-sanderling", .t_s = 4.5, .playing = true, .rate = 0.5, .by = "KL"})) ==
          json::parse(golden_text("led.json")));
    CHECK(json::parse(session_text(true)) == json::parse(golden_text("session.json")));
    CHECK(json::parse(error_text("seek needs 't_s', a number of seconds since the recording's start", 8)) ==
          json::parse(golden_text("error.json")));
    RecorderStatus recorder;
    recorder.recording = true;
    recorder.file_bytes = 81920;
    recorder.disk_free_bytes = 1'000'000'000;
    const std::vector<LinkView> links{
        {"radio", LinkState::no_data, "no bytes for 3.2 s", 123456, kTapeStartNs + 9'500'000'000},
        {"spare", LinkState::cannot_open, "/dev/ttyUSB1: no such file", 0, 0}};
    CHECK(json::parse(
              status_text(links, recorder,
                          {.viewers = 3, .operators = 1, .replays = 1, .behind = 1, .answer_s = 0.31, .left_out = 14},
                          kTapeStartNs + 12'750'000'000, kTapeStartNs + 12'750'000'000, kTapeStartNs)) ==
          json::parse(golden_text("status.json")));
}

TEST_CASE("text that is not UTF-8 still makes valid JSON") {
    const std::string replaced = "\xef\xbf\xbd\xef\xbf\xbd bad"; // U+FFFD twice
    const json text = json::parse(event_text(note_event(1, "\xff\xfe bad"), kTapeStartNs));
    CHECK(text.at("text") == replaced);
    CHECK(text.at("data") == json{{"text", replaced}});
}
