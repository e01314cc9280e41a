/// A recording that an older version wrote. It describes itself, so it is shown as it is; with vehicle files that this
/// version reads it can be processed again.
#include <algorithm>

#include <catch2/catch.hpp>

#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/repair.hpp"
#include "tests/record/support.hpp"
#include "tests/support/older_recording.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

using namespace record_test;

const std::filesystem::path kGolden = test::source_path("tests/golden/recording");

/// The recording in a directory of its own.
class OlderRecording {
  public:
    OlderRecording() : path_(directory_.recording("older")) { test::write_older_recording(path_); }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    [[nodiscard]] const std::filesystem::path& directory() const { return directory_.path(); }
    [[nodiscard]] RecordingReader reader() const {
        auto reader = RecordingReader::open(path_);
        if (!reader) throw std::runtime_error(reader.error().message);
        return std::move(*reader);
    }
    /// What plain SQL finds in the file.
    [[nodiscard]] std::int64_t count(const std::string& from) const {
        return Database(path_, Database::Mode::read_only).integer("SELECT count(*) FROM " + from);
    }

  private:
    TemporaryFolder directory_;
    std::filesystem::path path_;
};

std::vector<VehicleSetup> knot() {
    std::vector<Problem> problems;
    auto vehicle = read_vehicle_texts(test::read_file(kGolden / "knot/dictionary.json"),
                                      test::read_file(kGolden / "knot/vehicle.json"), "knot", problems);
    INFO(to_string(problems));
    REQUIRE(vehicle);
    std::vector<VehicleSetup> vehicles;
    vehicles.push_back(std::move(*vehicle));
    return vehicles;
}

const Table& table_of(const Schema& schema, const std::string& name) {
    const auto found = std::ranges::find(schema.tables, name, &Table::name);
    if (found == schema.tables.end()) throw std::runtime_error("no table " + name);
    return *found;
}

const Column& column_of(const Table& table, const std::string& name) {
    const auto found = std::ranges::find(table.columns, name, &Column::name);
    if (found == table.columns.end()) throw std::runtime_error("no column " + name);
    return *found;
}

TEST_CASE("an older recording describes itself") {
    const OlderRecording older;
    RecordingReader reader = older.reader();
    const RecordingInfo info = reader.info();
    CHECK(info.version == "0.1.0");
    CHECK(info.vehicles == "knot");
    CHECK(info.closed);
    CHECK(info.damage.empty());
    CHECK(info.t_end_ns > info.t_start_ns);

    const Column& fix = column_of(table_of(reader.schema(), "knot/fix"), "fix_type");
    CHECK(fix.role == "fix_type");
    CHECK(fix.enumeration == Enumeration{{0, "none"}, {2, "2D"}, {3, "3D"}});
    CHECK(fix.title == "Fix type");
    CHECK(column_of(table_of(reader.schema(), "knot/estimate/vertical"), "altitude_m").title == "Altitude");
    const Column& phase = column_of(table_of(reader.schema(), "knot/estimate/phase"), "phase");
    CHECK(phase.enumeration.at(1) == "powered ascent");

    const SetupDescription about = reader.description();
    REQUIRE(about.vehicles.size() == 1);
    CHECK(about.vehicles[0].name == "knot");
    CHECK(about.vehicles[0].title == "Knot");
    CHECK(about.vehicles[0].dictionary_version == "0.3.0");
    CHECK(about.vehicles[0].has_rocket);
    CHECK(about.site.name == "Lantern Flat");
    CHECK(about.site.pad.height_m == 968.0);
    REQUIRE(about.links.size() == 2);
    CHECK(about.links[0].uri == "udp:127.0.0.1:9321?name=radio");
    CHECK(about.links[1].name == "backup");
}

TEST_CASE("everything in an older recording can be read") {
    const OlderRecording older;
    RecordingReader reader = older.reader();
    SECTION("events, in the words of their time") {
        const auto events = reader.events(0, kLast_ns);
        CHECK(static_cast<std::int64_t>(events.size()) == older.count("event"));
        const auto with_key = [&](const std::string& key) { return *std::ranges::find(events, key, &Event::key); };
        CHECK(with_key("knot/flight/lift_off").text == "Lift-off");
        CHECK(with_key("knot/phase/powered_ascent").kind == EventKind::phase);
        CHECK(with_key("knot/pulse/pressure").values.front() == EventValue{"peak_pa", 1501.0});
        CHECK(with_key("link/backup/down").level == Level::caution);
        CHECK(with_key("link/backup/down").kind == EventKind::alert_raised);
        CHECK(with_key("marker").text == "key turned");
        CHECK(std::ranges::none_of(events, [](const Event& event) { return event.id.has_value(); }));
    }
    SECTION("frames, with their bytes; a copy of a packet is a duplicate") {
        const FramePage page = reader.frames(0, 100'000, std::nullopt);
        CHECK(static_cast<std::int64_t>(page.frames.size()) == older.count("frame"));
        const auto count = [&](PacketVerdict verdict) {
            return std::ranges::count(page.frames, verdict, &FrameRecord::packet_verdict);
        };
        CHECK(count(PacketVerdict::accepted) == older.count("frame_utc WHERE packet_verdict = 'accepted'"));
        CHECK(count(PacketVerdict::duplicate) == older.count("frame_utc WHERE packet_verdict = 'copy'"));
        CHECK(count(PacketVerdict::duplicate) > 100);
        CHECK(std::ranges::none_of(page.bytes, [](const auto& bytes) { return bytes.empty(); }));
    }
    SECTION("rows, series and the newest values") {
        for (const Table& table : reader.schema().tables) {
            INFO(table.name);
            const auto whole = reader.series({table.id, {0}, 0, kLast_ns, 100'000});
            const auto drawn = reader.series({table.id, {0}, 0, kLast_ns, 16});
            REQUIRE(whole);
            REQUIRE(drawn);
            CHECK(whole->rows > 0);
            std::uint64_t rows = 0;
            for (const std::uint32_t count : drawn->count) rows += count;
            CHECK(rows == whole->rows);
        }
        const auto latest = reader.latest(kLast_ns);
        CHECK(std::ranges::all_of(latest, [](const auto& row) { return row.has_value(); }));
        Batch batch;
        CHECK(reader.rows(0, kLast_ns, 100'000, batch) == kLast_ns);
        CHECK(batch.texts.at(0) == "k-0.3");
    }
    SECTION("inputs; an action in words that have changed stays as it is") {
        std::int64_t bytes = 0;
        std::vector<Action> actions;
        reader.inputs([&](const ChunkRecord&,
                          std::span<const std::byte> octets) { bytes += static_cast<std::int64_t>(octets.size()); },
                      [&](const ActionRecord& action) { actions.push_back(action.action); });
        CHECK(bytes ==
              Database(older.path(), Database::Mode::read_only).integer("SELECT sum(length(bytes)) FROM chunk"));
        CHECK(static_cast<std::int64_t>(actions.size()) == older.count("action"));
        CHECK(std::ranges::find(actions, Action(Note{"wind 3 m/s, sky clear"})) != actions.end());
        CHECK(std::ranges::find(actions, Action(LinkReport{"radio", LinkState::open, ""})) != actions.end());
        CHECK(std::ranges::any_of(actions, [](const Action& action) {
            const auto* unknown = std::get_if<UnknownAction>(&action);
            return unknown != nullptr && unknown->json.find("\"silent\"") != std::string::npos;
        }));
    }
    CHECK(reader.damage().empty());
}

TEST_CASE("an older recording can be renamed, copied and repaired") {
    const OlderRecording older;
    CHECK(set_recording_meta(older.path(), "name", "first flight"));
    CHECK(older.reader().info().name == "first flight");
    const auto copy = older.directory() / "copy.sqlite";
    CHECK(older.reader().snapshot(copy));
    CHECK(RecordingReader::open(copy));
    Database(older.path(), Database::Mode::read_write).execute("DELETE FROM meta WHERE key = 'ended'");
    CHECK(unclosed_recordings(older.directory()) == std::vector{older.path()});
    CHECK(repair_recording(older.path()) == RepairOutcome::repaired);
    CHECK(older.reader().info().repaired);
}

TEST_CASE("an older recording is compared as far as both versions make the same") {
    const OlderRecording older;
    CHECK_THAT(older.reader().setup().error().message, Catch::Contains("fix_type") && Catch::Contains("folder"));
    const auto report = verify_recording(older.path(), knot());
    REQUIRE(report);
    CHECK(static_cast<std::int64_t>(report->frames) == older.count("frame"));
    for (const char* one : {"events: an older layout words them differently",
                            "knot/estimate/phase: has different columns in this version",
                            "link/radio: has different columns in this version"}) {
        INFO(one);
        CHECK(std::ranges::count(report->not_compared, one) == 1);
    }
    // What estimators make may change with any version; what was received may not.
    Database(older.path(), Database::Mode::read_write)
        .execute("UPDATE series SET name = 'then/' || name WHERE kind = 'estimate'");
    const auto received = verify_recording(older.path(), knot());
    REQUIRE(received);
    INFO(received->first_difference);
    CHECK(received->differences == 0);
    CHECK(received->frames == report->frames);
    CHECK(static_cast<std::int64_t>(received->rows) ==
          older.count("knot_motion") + older.count("knot_fix") + older.count("knot_health"));
    CHECK(std::ranges::count(received->not_compared, "then/knot/estimate/air: this version makes no such table") == 1);
}

TEST_CASE("an older recording reprocessed is a recording of this version") {
    const OlderRecording older;
    const TemporaryFolder output;
    const auto path = reprocess(older.path(), knot(), output.path());
    REQUIRE(path);
    const auto report = verify_recording(*path);
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->not_compared.empty());
    CHECK(static_cast<std::int64_t>(report->chunks) == older.count("chunk"));
    CHECK(static_cast<std::int64_t>(report->frames) == older.count("frame"));
    auto reader = RecordingReader::open(*path);
    REQUIRE(reader);
    CHECK(reader->info().version == TURNSTONE_VERSION);
    const auto events = reader->events(0, kLast_ns);
    // What the operator said is there; what only the older version understood is kept, and no person meets it.
    std::vector<std::string> said;
    for (const Event& event : events)
        if (event.id == EventId::note || event.id == EventId::marker) said.push_back(event.text);
    CHECK(said == std::vector<std::string>{"wind 3 m/s, sky clear", "key turned", "first seen under drogue"});
    std::int64_t kept = 0;
    reader->inputs([](const ChunkRecord&, std::span<const std::byte>) {},
                   [&](const ActionRecord& action) { kept += std::holds_alternative<UnknownAction>(action.action); });
    CHECK(kept == older.count("action WHERE json LIKE '%\"silent\"%'"));
    for (const char* key : {"knot/flight/liftoff", "knot/flight/apogee", "knot/flight/touchdown", "marker/2"})
        CHECK(std::ranges::find(events, key, &Event::key) != events.end());
}

} // namespace
} // namespace turnstone
