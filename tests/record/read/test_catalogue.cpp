#include <fstream>

#include <catch2/catch.hpp>

#include "server/record/format/recording_id.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/record/support.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

using namespace record_test;

std::string record_something(const TemporaryFolder& directory, std::int64_t utc_ns, const std::string& name) {
    Recorder recorder(recorder_settings(directory.path()), sample_setup());
    BatchMaker maker;
    std::string id = recorder.begin(
        sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = utc_ns, .name = name, .continues = ""}, utc_ns);
    for (int i = 0; i < 100; ++i) push(recorder, maker.next());
    return id;
}

TEST_CASE("ids carry UTC start and vehicle, are unique and make no path") {
    const TemporaryFolder directory;
    struct Case {
        std::int64_t utc_ns;
        const char* vehicle;
        const char* id;
    };
    // UTC of the first two: ISO 8601 calendar of POSIX time 1779028325 and 0 (IEEE Std 1003.1, 4.16).
    for (const Case& c : {Case{1'779'028'325'999'999'999, "sanderling", "2026-05-17T143205Z-sanderling"},
                          Case{0, "", "1970-01-01T000000Z"}, Case{-1, "x", "1969-12-31T235959Z-x"},
                          Case{0, "../../etc/passwd", "1970-01-01T000000Z-------etc-passwd"}})
        CHECK(free_recording_id(directory.path(), c.utc_ns, c.vehicle) == c.id);
    std::ofstream(directory.recording("1970-01-01T000000Z")) << "taken";
    CHECK(free_recording_id(directory.path(), 0, "") == "1970-01-01T000000Z-2");
}

TEST_CASE("an id leads only to a recording of the directory") {
    const TemporaryFolder directory;
    const std::string id = record_something(directory, kStart_ns, "");
    CHECK(recording_path(directory.path(), id) == directory.recording(id));
    std::ofstream(directory.path().parent_path() / "turnstone-outside.sqlite") << "outside";
    for (const std::string& hostile :
         {std::string("../turnstone-outside"), std::string(""), std::string("."), std::string(".."),
          std::string("/etc/passwd"), "..\\" + id, id + ".sqlite", "./" + id, id + std::string(1, '\0'),
          "%2e%2e%2f" + id, std::string(5000, 'a'), "a/../" + id, std::string(".hidden"), std::string("none-such")}) {
        INFO(hostile);
        CHECK_FALSE(recording_path(directory.path(), hostile));
    }
    std::filesystem::remove(directory.path().parent_path() / "turnstone-outside.sqlite");
}

TEST_CASE("the catalogue lists every recording, newest first, and says what is wrong with a damaged one") {
    const TemporaryFolder directory;
    const std::string first = record_something(directory, kStart_ns, "first");
    const std::string second = record_something(directory, kStart_ns + 3'600'000 * kMs, "second");
    std::ofstream(directory.path() / "notes.txt") << "not a recording";
    std::ofstream(directory.path() / ".2026.sqlite.new") << "half made";
    std::ofstream(directory.recording("a-text")) << std::string(5000, 'x');
    std::ofstream(directory.recording("b-empty")) << "";
    {
        Database other(directory.recording("c-other"), Database::Mode::create);
        other.execute("CREATE TABLE t (x)");
    }
    std::filesystem::copy_file(directory.recording(first), directory.recording("d-cut"));
    std::filesystem::resize_file(directory.recording("d-cut"),
                                 std::filesystem::file_size(directory.recording("d-cut")) / 2);
    std::filesystem::copy_file(directory.recording(first), directory.recording("e-newer"));
    Database(directory.recording("e-newer"), Database::Mode::read_write).execute("PRAGMA user_version = 99");

    const auto found = scan_recordings(directory.path());
    REQUIRE(found.size() == 7);
    struct Case {
        const char* id;
        const char* damage;
    };
    const std::vector<Case> damaged{{"e-newer", "layout version 99"},
                                    {"d-cut", "cut short"},
                                    {"c-other", "not a recording"},
                                    {"b-empty", "empty"},
                                    {"a-text", "not a database"}};
    for (std::size_t i = 0; i < damaged.size(); ++i) {
        CHECK(found[i].id == damaged[i].id);
        CHECK_THAT(found[i].damage, Catch::Contains(damaged[i].damage));
        CHECK_FALSE(RecordingReader::open(found[i].path));
    }
    CHECK(found[5].id == second);
    CHECK(found[5].name == "second");
    CHECK(found[6].id == first);
    CHECK(found[6].damage.empty());
    CHECK(found[6].file_bytes == std::filesystem::file_size(directory.recording(first)));
    CHECK(scan_recordings(directory.path() / "none").empty());
    CHECK_FALSE(RecordingReader::open(directory.path() / "none.sqlite"));
}

TEST_CASE("a recording with pages overwritten is reported, never trusted and never a crash") {
    const TemporaryFolder directory;
    const std::string id = record_something(directory, kStart_ns, "");
    const std::string whole = test::read_file(directory.recording(id));
    std::mt19937 random(8);
    std::size_t noticed = 0;
    for (int round = 0; round < 60; ++round) {
        std::string spoilt = whole;
        for (int i = 0; i < 40; ++i) spoilt[random() % spoilt.size()] = static_cast<char>(random());
        if (round % 3 == 0) {
            const std::size_t page = 1 + random() % (spoilt.size() / 4096 - 1);
            std::fill_n(spoilt.begin() + static_cast<std::ptrdiff_t>(page * 4096), 4096, static_cast<char>(random()));
        }
        std::ofstream(directory.recording("spoilt"), std::ios::binary) << spoilt;
        auto reader = RecordingReader::open(directory.recording("spoilt"));
        if (!reader) {
            ++noticed;
            continue;
        }
        Batch rows;
        static_cast<void>(reader->info());
        static_cast<void>(reader->setup());
        static_cast<void>(reader->latest(kLast_ns));
        reader->rows(0, kLast_ns, 1000, rows);
        static_cast<void>(reader->events(0, kLast_ns));
        static_cast<void>(reader->frames(0, 1000, std::nullopt));
        for (std::size_t table = 0; table < reader->schema().tables.size(); ++table)
            static_cast<void>(reader->series({static_cast<TableId>(table), {0}, 0, kLast_ns, 20}));
        noticed += reader->damage().empty() ? 0U : 1U;
    }
    CHECK(noticed > 20);
}

TEST_CASE("name and notes of a closed recording can be changed, nothing else") {
    const TemporaryFolder directory;
    const std::string id = record_something(directory, kStart_ns, "");
    REQUIRE(set_recording_meta(directory.recording(id), "name", "Röhre 3"));
    REQUIRE(set_recording_meta(directory.recording(id), "notes", "wind 5 m/s'; DROP TABLE meta;--"));
    CHECK_FALSE(set_recording_meta(directory.recording(id), "ended", ""));
    CHECK_FALSE(set_recording_meta(directory.recording("none"), "name", "x"));
    const auto info = scan_recordings(directory.path()).at(0);
    CHECK(info.name == "Röhre 3");
    CHECK(info.notes == "wind 5 m/s'; DROP TABLE meta;--");
    CHECK(directory.names().size() == 1);
}

} // namespace
} // namespace turnstone
