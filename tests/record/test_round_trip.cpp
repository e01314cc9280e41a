#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "server/record/write/recording_file.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using namespace std::string_literals;

TEST_CASE("what was pushed is in the file: inputs, frames, rows, events and descriptions") {
    const TemporaryFolder directory;
    const Schema schema = sample_schema();
    const PipelineSetup setup = sample_setup();

    // The values a text format, a 32-bit field or a careless NULL would spoil.
    constexpr double kInfinity = std::numeric_limits<double>::infinity();
    const std::vector<double> edges{kNan,
                                    kInfinity,
                                    -kInfinity,
                                    std::numeric_limits<double>::denorm_min(),
                                    std::numeric_limits<double>::max(),
                                    0.1,
                                    -1.0 / 3.0,
                                    9007199254740993.0,
                                    -1e300,
                                    1e17,
                                    123456789012345680.0,
                                    42.0};
    auto inputs = std::make_shared<Inputs>();
    auto batch = std::make_shared<Batch>();
    inputs->bytes = {std::byte{0}, std::byte{0xff}, std::byte{'\''}, std::byte{0}, std::byte{7}};
    constexpr std::uint64_t kFar = 0x7fff'ffff'ffff'fff0ULL;
    inputs->chunks.push_back({0, 0, kStart_ns, kStart_ns - 5, 0, true, {0, 3}});
    inputs->chunks.push_back({2, 1, kStart_ns + 2, kStart_ns + 9, kFar, false, {3, 2}});
    inputs->chunks.push_back({3, 1, kStart_ns + 3, kStart_ns + 9, kFar + 2, false, {5, 0}});
    inputs->actions.push_back({1, kStart_ns + 1, Note{"wind \"5 m/s\" — Bö", kStart_ns}});
    batch->frames.push_back({.link = 1,
                             .t_rx_ns = kStart_ns + 2,
                             .stream_offset = kFar,
                             .link_bytes = 2,
                             .frame_verdict = FrameVerdict::too_long,
                             .decode_verdict = DecodeVerdict::idle,
                             .packet_verdict = PacketVerdict::undecodable,
                             .boot = 0xffffffffU});
    batch->frames.push_back({.t_rx_ns = kStart_ns,
                             .link_bytes = 3,
                             .packet_verdict = PacketVerdict::late,
                             .apid = 0,
                             .sequence_count = 0,
                             .onboard_ns = 0,
                             .boot = 3});
    for (std::size_t i = 0; i < edges.size(); i += 4) {
        batch->add_row(schema.tables[0], kStart_ns + static_cast<std::int64_t>(i), kStart_ns + 100,
                       std::span(edges).subspan(i, 4), {}, i == 0 ? 1 : -1);
    }
    const auto add_health = [&](std::int64_t t_ns, std::array<double, 2> numbers, std::string_view text) {
        batch->add_row(schema.tables[1], t_ns, kStart_ns + 100, numbers, std::array{text});
    };
    add_health(kStart_ns - 4, {7.4, kNan}, "v1.2 \xC2\xB5'\";--");
    add_health(kStart_ns + 5, {7.3, 2}, "");
    batch->add_row(schema.tables[4], kStart_ns + 6, kStart_ns + 100, std::array{1.0, 2.0, 3.0});
    for (int kind = 0; kind < static_cast<int>(kWords<EventKind>.size()); ++kind) {
        batch->events.push_back({.id = kind == 0 ? std::nullopt : std::optional(static_cast<EventId>(kind)),
                                 .t_ns = kStart_ns + 50 - kind,
                                 .t_found_ns = kStart_ns + 60,
                                 .t_sigma_s = kind == 0 ? 0.0 : 0.01,
                                 .kind = static_cast<EventKind>(kind),
                                 .level = static_cast<Level>(kind % 4),
                                 .vehicle = kind - 1,
                                 .key = "sanderling/flight/apogee",
                                 .text = "Scheitel; 'é'",
                                 .values = {}});
    }

    std::string id;
    {
        Recorder recorder(recorder_settings(directory.path()), setup);
        id = recorder.begin(
            schema, {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "first flight", .continues = ""},
            kStart_ns);
        recorder.push(inputs);
        recorder.push(batch, {inputs->count(), kStart_ns + 100});
        recorder.set_meta("notes", "calm");
        REQUIRE(recorder.flush(5000));
        CHECK(recorder.status().rows_written == batch->rows.size());
        CHECK(recorder.status().fault.empty());
        CHECK(recorder.status().recording);
    }
    CHECK(id == "2026-05-17T143205Z-sanderling");
    CHECK(directory.names() == std::vector<std::string>{id + ".sqlite"});

    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    const RecordingInfo info = reader->info();
    CHECK(info.name == "first flight");
    CHECK(info.notes == "calm");
    CHECK(info.vehicles == "sanderling");
    CHECK(info.version == TURNSTONE_VERSION);
    CHECK(info.t_start_ns == kStart_ns);
    CHECK(info.t_end_ns == kStart_ns + 100);
    CHECK(info.closed);
    CHECK_FALSE(info.repaired);
    CHECK(info.damage.empty());

    SECTION("schema") {
        REQUIRE(reader->schema().tables.size() == schema.tables.size());
        for (std::size_t i = 0; i < schema.tables.size(); ++i) {
            const Table& a = schema.tables[i];
            const Table& b = reader->schema().tables[i];
            CHECK(a.name == b.name);
            CHECK(a.title == b.title);
            CHECK(a.kind == b.kind);
            CHECK(a.vehicle == b.vehicle);
            CHECK(a.period_s == b.period_s);
            CHECK(a.number_count == b.number_count);
            REQUIRE(a.columns.size() == b.columns.size());
            for (std::size_t c = 0; c < a.columns.size(); ++c) {
                CHECK(a.columns[c].name == b.columns[c].name);
                CHECK(a.columns[c].title == b.columns[c].title);
                CHECK(a.columns[c].description == b.columns[c].description);
                CHECK(a.columns[c].unit == b.columns[c].unit);
                CHECK(a.columns[c].group == b.columns[c].group);
                CHECK(a.columns[c].decimals == b.columns[c].decimals);
                CHECK(a.columns[c].is_text == b.columns[c].is_text);
                CHECK(a.columns[c].valid_range == b.columns[c].valid_range);
                CHECK(a.columns[c].enumeration == b.columns[c].enumeration);
                CHECK(a.columns[c].role == b.columns[c].role);
                CHECK(a.columns[c].sigma_column == b.columns[c].sigma_column);
                CHECK(a.columns[c].low_column == b.columns[c].low_column);
                CHECK(a.columns[c].high_column == b.columns[c].high_column);
                CHECK(a.columns[c].strip_title == b.columns[c].strip_title);
                CHECK(a.columns[c].strip_line == b.columns[c].strip_line);
            }
        }
    }
    SECTION("inputs in their order") {
        std::vector<ChunkRecord> chunks;
        std::vector<ActionRecord> actions;
        std::vector<std::byte> bytes;
        std::vector<std::uint64_t> order;
        reader->inputs(
            [&](const ChunkRecord& chunk, std::span<const std::byte> octets) {
                chunks.push_back(chunk);
                order.push_back(chunk.input);
                bytes.insert(bytes.end(), octets.begin(), octets.end());
            },
            [&](const ActionRecord& action) {
                actions.push_back(action);
                order.push_back(action.input);
            });
        CHECK(order == std::vector<std::uint64_t>{0, 1, 2, 3});
        CHECK(bytes == inputs->bytes);
        CHECK(actions == inputs->actions);
        REQUIRE(chunks.size() == 3);
        for (std::size_t i = 0; i < chunks.size(); ++i) {
            CHECK(chunks[i].input == inputs->chunks[i].input);
            CHECK(chunks[i].link == inputs->chunks[i].link);
            CHECK(chunks[i].t_rx_ns == inputs->chunks[i].t_rx_ns);
            CHECK(chunks[i].utc_rx_ns == inputs->chunks[i].utc_rx_ns);
            CHECK(chunks[i].stream_offset == inputs->chunks[i].stream_offset);
            CHECK(chunks[i].carried == inputs->chunks[i].carried);
        }
    }
    SECTION("rows, to the last bit") {
        Batch rows;
        CHECK(reader->rows(kStart_ns - 1000, kLast_ns, 1000, rows) == kLast_ns);
        REQUIRE(rows.rows.size() == batch->rows.size());
        CHECK(rows.rows.front().t_ns == kStart_ns - 4);
        CHECK(rows.texts[0] == batch->texts[0]);
        std::size_t compared = 0;
        for (const RowRecord& row : rows.rows) {
            if (row.table != 0) continue;
            const auto numbers = rows.numbers_of(row, schema.tables[0]);
            for (std::size_t c = 0; c < 4; ++c) {
                const double expected = edges[static_cast<std::size_t>(row.t_ns - kStart_ns) + c];
                INFO(expected);
                CHECK((std::isnan(expected)
                           ? std::isnan(numbers[c])
                           : std::bit_cast<std::uint64_t>(numbers[c]) == std::bit_cast<std::uint64_t>(expected)));
                ++compared;
            }
        }
        CHECK(compared == edges.size());
    }
    SECTION("a page of rows never ends between rows of one time") {
        Batch rows;
        const std::int64_t complete_ns = reader->rows(kStart_ns - 1000, kLast_ns, 2, rows);
        REQUIRE(rows.rows.size() == 2);
        CHECK(complete_ns == kStart_ns + 4);
        const std::int64_t end_ns = reader->rows(complete_ns, kLast_ns, 1000, rows);
        CHECK(end_ns == kLast_ns);
        CHECK(rows.rows.size() == batch->rows.size());
    }
    SECTION("frames with their bytes") {
        const FramePage page = reader->frames(0, 10, std::nullopt);
        CHECK(page.frames == batch->frames);
        CHECK(page.ids == std::vector<std::int64_t>{1, 2});
        REQUIRE(page.bytes.size() == 2);
        CHECK(page.bytes[0] == std::vector<std::byte>(inputs->bytes.begin() + 3, inputs->bytes.end()));
        CHECK(page.bytes[1] == std::vector<std::byte>(inputs->bytes.begin(), inputs->bytes.begin() + 3));
        CHECK(reader->frames(0, 10, LinkId{0}).ids == std::vector<std::int64_t>{2});
        CHECK(reader->frames(1, 10, LinkId{1}).ids.empty());
    }
    SECTION("events by time, with the ids of the order they were found in") {
        std::vector<std::int64_t> ids;
        const auto events = reader->events(kStart_ns, kLast_ns, &ids);
        REQUIRE(events.size() == batch->events.size());
        for (std::size_t i = 0; i < events.size(); ++i)
            CHECK(events[i] == batch->events[static_cast<std::size_t>(ids[i]) - 1]);
        CHECK(std::is_sorted(events.begin(), events.end(),
                             [](const Event& a, const Event& b) { return a.t_ns < b.t_ns; }));
    }
    SECTION("latest row of each table at a moment") {
        const auto latest = reader->latest(kStart_ns + 5);
        REQUIRE(latest.size() == schema.tables.size());
        REQUIRE(latest[0]);
        CHECK(latest[0]->first == kStart_ns + 4);
        REQUIRE(latest[1]);
        CHECK(latest[1]->second == std::vector<double>{7.3, 2});
        CHECK_FALSE(latest[2]);
        CHECK_FALSE(latest[4]);
    }
    SECTION("useful from plain SQL") {
        Database database(directory.recording(id), Database::Mode::read_only);
        CHECK(database.text("PRAGMA integrity_check") == "ok");
        CHECK(database.integer("PRAGMA application_id") == 0x54524E53);
        CHECK(database.text("SELECT name FROM sqlite_schema WHERE name = 'sanderling_odd_name'") ==
              "sanderling_odd_name");
        CHECK(database.text("SELECT utc FROM sanderling_health ORDER BY t_s DESC") == "2026-05-17T14:32:05.000000005Z");
        CHECK(database.text("SELECT packet_verdict FROM frame_utc WHERE id = 2") == "late");
        CHECK(database.text("SELECT event FROM event WHERE id = 4") == "apogee");
        CHECK(database.text("SELECT dictionary_json FROM vehicle") == setup.vehicles[0].dictionary_json);
        CHECK(database.text("SELECT site_json FROM site") == setup.site_json);
        CHECK(database.text("SELECT uri FROM link WHERE id = 1") == "udp://0.0.0.0:9000");
        CHECK(database.integer(
                  "SELECT count(*) FROM sanderling_odd_name WHERE \"select\" = 1 AND t_ns_2 = 2 AND a_b = 3") == 1);
    }
}

template <HasWords Enum>
void check_words(Database& database, const char* column) {
    for (std::size_t value = 0; value < kWords<Enum>.size(); ++value) {
        const std::string id = std::to_string(value + 1);
        CHECK(database.text("SELECT " + std::string(column) + " FROM frame_utc WHERE id = " + id) ==
              kWords<Enum>[value]);
    }
}

TEST_CASE("plain SQL shows every verdict in the word the program has for it") {
    const TemporaryFolder directory;
    const auto path = directory.recording("words");
    create_recording(path, {}, {}, {kStart_ns, kStart_ns, "", ""}, false);
    Batch batch;
    constexpr unsigned kRows =
        1 + std::max({kWords<FrameVerdict>.size(), kWords<DecodeVerdict>.size(), kWords<PacketVerdict>.size()});
    for (unsigned value = 0; value < kRows; ++value) {
        batch.frames.push_back({.frame_verdict = static_cast<FrameVerdict>(value),
                                .decode_verdict = static_cast<DecodeVerdict>(value),
                                .packet_verdict = static_cast<PacketVerdict>(value)});
    }
    RecordingFile file(path, {}, false);
    file.append(batch, {});
    file.close("clean");
    Database database(path, Database::Mode::read_only);
    check_words<FrameVerdict>(database, "frame_verdict");
    check_words<DecodeVerdict>(database, "decode_verdict");
    check_words<PacketVerdict>(database, "packet_verdict");
    CHECK(database.text("SELECT packet_verdict FROM frame_utc WHERE id = " + std::to_string(kRows))
              .empty()); // a number without a word
}

TEST_CASE("a vehicle's table may have the name of anything that every recording holds") {
    const TemporaryFolder directory;
    create_recording(directory.recording("plain"), {}, {}, {kStart_ns, kStart_ns, "", ""}, false);
    Schema schema;
    {
        Database database(directory.recording("plain"), Database::Mode::read_only);
        Statement names(database, "SELECT name FROM sqlite_schema");
        while (names.step()) {
            const auto id = static_cast<TableId>(schema.tables.size());
            schema.tables.push_back(make_table(id, names.text(0), TableKind::packet, 0, {"value"}));
        }
    }
    REQUIRE(schema.tables.size() > 10);
    create_recording(directory.recording("named"), {}, schema, {kStart_ns, kStart_ns, "", ""}, false);
    const auto reader = RecordingReader::open(directory.recording("named"));
    REQUIRE(reader);
    CHECK(reader->schema().tables.size() == schema.tables.size());
}

TEST_CASE("every kind of event value and of action comes back as it was, bit for bit") {
    const double least = std::numeric_limits<double>::denorm_min(), most = std::numeric_limits<double>::max();
    const std::string awkward = "\"quoted\" \\ back\nline\t µ \xF0\x9F\x8C\x8D and \0 inside"s;
    const EventValues values{{"zero", 0.0},
                             {"minus_zero", -0.0},
                             {"whole", 3.0},
                             {"beyond_2_53", 9007199254740994.0},
                             {"tenth", 0.1},
                             {"least", least},
                             {"most", -most},
                             {"yes", true},
                             {"no", false},
                             {"text", awkward},
                             {"empty", std::string()},
                             {"a_number_in_words", std::string("12.5")},
                             {"needs", std::vector<std::string>{"rate_body_x", awkward, ""}},
                             {"nothing", std::vector<std::string>{}},
                             {"Ünïcode name", 1.0}};
    const std::vector<Action> actions{Marker{awkward},
                                      Marker{"behind the head", kLast_ns},
                                      Note{"", std::numeric_limits<std::int64_t>::min()},
                                      LinkReport{"radio", LinkState::cannot_open, awkward},
                                      RecorderReport{awkward},
                                      EngineTotal{"sanderling", 0.1},
                                      EngineTotal{"sanderling", most},
                                      UnknownAction{"{\"action\": " + awkward}};
    const TemporaryFolder directory;
    std::string id;
    {
        Recorder recorder(recorder_settings(directory.path()), sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        auto inputs = std::make_shared<Inputs>();
        auto batch = std::make_shared<Batch>();
        for (const Action& action : actions) inputs->actions.push_back({inputs->actions.size(), kStart_ns, action});
        batch->events.push_back({.t_ns = kStart_ns,
                                 .t_found_ns = kStart_ns,
                                 .t_sigma_s = least,
                                 .kind = EventKind::note,
                                 .level = Level::note,
                                 .vehicle = -1,
                                 .key = awkward,
                                 .text = awkward,
                                 .values = values});
        recorder.push(inputs);
        recorder.push(batch, {inputs->count(), kStart_ns});
    }
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    const auto events = reader->events(0, kLast_ns);
    REQUIRE(events.size() == 1);
    CHECK(events[0].key == awkward);
    CHECK(events[0].text == awkward);
    CHECK(events[0].t_sigma_s == least);
    REQUIRE(events[0].values.size() == values.size());
    for (std::size_t i = 0; i < values.size(); ++i) {
        INFO(values[i].name);
        CHECK(events[0].values[i] == values[i]);
        if (const auto* number = std::get_if<double>(&values[i].value)) // == takes -0 for 0
            CHECK(std::bit_cast<std::uint64_t>(std::get<double>(events[0].values[i].value)) ==
                  std::bit_cast<std::uint64_t>(*number));
    }
    std::vector<Action> stored;
    reader->inputs([](const ChunkRecord&, std::span<const std::byte>) {},
                   [&](const ActionRecord& action) { stored.push_back(action.action); });
    REQUIRE(stored.size() == actions.size());
    for (std::size_t i = 0; i < actions.size(); ++i) {
        INFO(to_json(actions[i]));
        CHECK(stored[i] == actions[i]);
    }
}

TEST_CASE("the bytes of frames are found however chunks fall") {
    const TemporaryFolder directory;
    std::mt19937 random(4);
    std::vector<std::byte> stream(20'000);
    for (auto& octet : stream) octet = static_cast<std::byte>(random() & 0xff);
    std::vector<std::pair<std::size_t, std::size_t>> expected; // offset, size
    std::string id;
    {
        Recorder recorder(recorder_settings(directory.path()), sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        auto inputs = std::make_shared<Inputs>();
        auto batch = std::make_shared<Batch>();
        inputs->bytes = stream;
        for (std::size_t at = 0; at < stream.size();) {
            const std::size_t size = std::min<std::size_t>(1 + random() % 90, stream.size() - at);
            inputs->chunks.push_back({inputs->chunks.size(),
                                      0,
                                      kStart_ns,
                                      kStart_ns,
                                      at,
                                      false,
                                      {static_cast<std::uint32_t>(at), static_cast<std::uint32_t>(size)}});
            at += size;
        }
        for (std::size_t at = 0; at < stream.size();) {
            const std::size_t size = std::min<std::size_t>(1 + random() % 300, stream.size() - at);
            expected.emplace_back(at, size);
            batch->frames.push_back({.t_rx_ns = kStart_ns,
                                     .stream_offset = at,
                                     .link_bytes = static_cast<std::uint32_t>(size),
                                     .frame_verdict = FrameVerdict::bad_crc});
            at += size;
        }
        recorder.push(inputs);
        recorder.push(batch, {inputs->count(), kStart_ns});
    }
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    const FramePage page = reader->frames(0, 100'000, std::nullopt);
    REQUIRE(page.bytes.size() == expected.size());
    for (std::size_t i = 0; i < expected.size(); ++i) {
        const auto begin = stream.begin() + static_cast<std::ptrdiff_t>(expected[i].first);
        REQUIRE(page.bytes[i] ==
                std::vector<std::byte>(begin, begin + static_cast<std::ptrdiff_t>(expected[i].second)));
    }
}

TEST_CASE("a new recording loses no byte between the old one and itself") {
    const TemporaryFolder directory;
    BatchMaker maker;
    std::vector<std::string> ids;
    {
        Recorder recorder(recorder_settings(directory.path()), sample_setup());
        ids.push_back(recorder.begin(sample_schema(),
                                     {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "a", .continues = ""},
                                     kStart_ns));
        for (int i = 0; i < 300; ++i) {
            push(recorder, maker.next());
            if (i == 99 || i == 199)
                ids.push_back(recorder.begin(
                    sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "b", .continues = ""},
                    kStart_ns));
        }
    }
    CHECK(ids == std::vector<std::string>{"2026-05-17T143205Z-sanderling", "2026-05-17T143205Z-sanderling-2",
                                          "2026-05-17T143205Z-sanderling-3"});
    CHECK(directory.names().size() == 3);
    std::vector<std::byte> bytes;
    for (const std::string& id : ids) {
        auto reader = RecordingReader::open(directory.recording(id));
        REQUIRE(reader);
        CHECK(reader->info().closed);
        reader->inputs(
            [&](const ChunkRecord&, std::span<const std::byte> octets) {
                bytes.insert(bytes.end(), octets.begin(), octets.end());
            },
            [](const ActionRecord&) {});
    }
    CHECK(bytes == maker.bytes());
}

} // namespace
} // namespace turnstone
