/// Recordings that were cut short, copied in part, or changed by a fault of the disk: what is wrong is named, and what
/// is whole comes back.
#include <fstream>
#include <map>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/repair.hpp"
#include "tests/record/demo_flight.hpp"
#include "tests/record/pages.hpp"
#include "tests/support/killed_child.hpp"

namespace turnstone {
namespace {

using namespace record_test;

/// Bytes and receive times of a recording's chunks, in order.
using Chunks = std::vector<std::pair<std::int64_t, std::vector<std::byte>>>;
Chunks chunks_of(const std::filesystem::path& path) {
    Chunks chunks;
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    reader->inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            chunks.emplace_back(chunk.t_rx_ns, std::vector(bytes.begin(), bytes.end()));
        },
        [](const ActionRecord&) {});
    REQUIRE(reader->damage().empty());
    return chunks;
}

/// Every one of `part` is in `whole`, in the same order.
bool is_part_of(const Chunks& part, const Chunks& whole) {
    auto next = whole.begin();
    for (const auto& chunk : part) {
        next = std::find(next, whole.end(), chunk);
        if (next == whole.end()) return false;
        ++next;
    }
    return true;
}

/// What reprocess made, by its error: "... are in PATH...".
std::filesystem::path made_from_damaged(const std::string& message) {
    const std::size_t from = message.find(" are in ") + 8;
    return message.substr(from, message.find(".sqlite", from) + 7 - from);
}

TEST_CASE("a recording that is cut short gives back every input on the pages that are left") {
    const TemporaryFolder directory;
    const auto whole = directory.recording(record_flight(directory, demo_setup()));
    const Chunks chunks = chunks_of(whole);
    const auto rows = rows_on_pages(whole, "chunk");
    const std::uintmax_t page = page_bytes(whole);
    const std::uintmax_t size = std::filesystem::file_size(whole);
#ifdef TURNSTONE_INSTRUMENTED // ten seconds each
    const std::vector<std::uintmax_t> cuts{1, size / 3};
#else
    const std::vector<std::uintmax_t> cuts{1, page, size / 10, size / 3, size / 2};
#endif
    for (const std::uintmax_t missing : cuts) {
        INFO(missing << " of " << size << " bytes missing");
        const TemporaryFolder output;
        const auto cut = directory.recording("shortened");
        std::filesystem::copy_file(whole, cut, std::filesystem::copy_options::overwrite_existing);
        std::filesystem::resize_file(cut, size - missing);
        std::size_t left = 0;
        for (const auto& [number, count] : rows)
            if (static_cast<std::uintmax_t>(number) * page <= size - missing) left += count;

        CHECK_THAT(verify_recording(cut).error().message, Catch::Contains("turnstone reprocess"));
        const auto made = reprocess(cut, {}, output.path());
        REQUIRE_FALSE(made);
        INFO(made.error().message);
        CHECK_THAT(made.error().message, Catch::Contains("is damaged") && Catch::Contains("inputs that could be read"));
        const auto path = made_from_damaged(made.error().message);
        CHECK(output.names().size() == 1);
        const Chunks kept = chunks_of(path);
        CHECK(kept.size() == left);
        CHECK(left > 0);
        CHECK(is_part_of(kept, chunks));
        const auto report = verify_recording(path);
        REQUIRE(report);
        CHECK(report->differences == 0);
    }
}

TEST_CASE("a page that cannot be read costs the inputs on it, and how many are missing is said") {
    const TemporaryFolder directory;
    const auto whole = directory.recording(record_flight(directory, demo_setup()));
    const Chunks chunks = chunks_of(whole);
    const auto rows = rows_on_pages(whole, "chunk");
    const std::uintmax_t page = page_bytes(whole);
    const auto damaged = std::next(rows.begin(), 3);
    copy_page(whole, 0, damaged->first, page);
    const TemporaryFolder output;
    const auto made = reprocess(whole, {}, output.path());
    REQUIRE_FALSE(made);
    INFO(made.error().message);
    const Chunks kept = chunks_of(made_from_damaged(made.error().message));
    CHECK(kept.size() == chunks.size() - damaged->second);
    CHECK(is_part_of(kept, chunks));
    CHECK_THAT(made.error().message,
               Catch::EndsWith("between them " + std::to_string(damaged->second) + " are missing"));
    CHECK_THAT(verify_recording(whole).error().message, Catch::Contains("is damaged"));
}

TEST_CASE("a page that holds the rows of another one is damage: no input comes twice, and reading ends") {
    const TemporaryFolder directory;
    const auto whole = directory.recording(record_flight(directory, demo_setup()));
    const Chunks chunks = chunks_of(whole);
    const auto rows = rows_on_pages(whole, "chunk");
    const std::uintmax_t page = page_bytes(whole);
    const auto old = std::next(rows.begin(), 1), first = std::next(rows.begin(), 3),
               second = std::next(rows.begin(), 4);
    for (const bool both : {false, true}) {
        INFO("old rows " << (both ? "twice" : "before a page that cannot be read"));
        const auto changed = directory.recording("changed");
        std::filesystem::copy_file(whole, changed, std::filesystem::copy_options::overwrite_existing);
        copy_page(changed, old->first, first->first, page);
        copy_page(changed, both ? old->first : 0, second->first, page);
        CHECK_THAT(verify_recording(changed).error().message, Catch::Contains("is damaged"));
        const TemporaryFolder output;
        const auto made = reprocess(changed, {}, output.path());
        REQUIRE_FALSE(made);
        INFO(made.error().message);
        const Chunks kept = chunks_of(made_from_damaged(made.error().message));
        CHECK(kept.size() == chunks.size() - first->second - second->second);
        CHECK(is_part_of(kept, chunks));
    }
}

TEST_CASE("a recording that was not closed says when its write-ahead file was left behind") {
    const TemporaryFolder directory;
    const TemporaryFolder output;
    const auto path = directory.recording("flight");
    const PipelineSetup setup = demo_setup();
    Pipeline pipeline(setup, kStart_ns);
    create_recording(path, texts_of(setup), pipeline.schema(), {kStart_ns, kStart_ns, "", ""}, false);
    RecordingFile file(path, pipeline.schema(), false);
    InputCounter counter(1, kStart_ns);
    Inputs inputs;
    counter.chunk(0, kStart_ns, kStart_ns, std::array{std::byte{1}}, inputs);
    file.append(inputs);
    file.commit();
    const auto copy = directory.recording("copy");
    std::filesystem::copy_file(path, copy);
    SECTION("alone") {
        const std::string lost = "what was received last may be missing; if this is a copy, copy copy.sqlite-wal too";
        CHECK_THAT(verify_recording(copy).error().message, Catch::Contains(lost));
        // Whoever looked before left an empty one.
        CHECK_THAT(verify_recording(copy).error().message, Catch::Contains(lost));
        CHECK_THAT(recording_info(copy).damage, Catch::Contains(lost));
        CHECK_THAT(reprocess(copy, {}, output.path()).error().message, Catch::Contains(lost));
    }
    SECTION("with it") {
        std::filesystem::copy_file(path.string() + "-wal", copy.string() + "-wal");
        CHECK(verify_recording(copy)->chunks == 1);
        CHECK(recording_info(copy).damage.empty());
        CHECK(reprocess(copy, {}, output.path()));
    }
    SECTION("while it is recorded") {
        CHECK(recording_info(path).damage.empty());
    }
}

TEST_CASE("whenever reprocess is killed, what has the name of a recording is one") {
    const TemporaryFolder directory;
    const auto whole = directory.recording(record_flight(directory, demo_setup()));
    const std::size_t chunks = chunks_of(whole).size();
    const TemporaryFolder output;
    for (const int life_ms : {20, 60, 130, 250, 400}) {
        static_cast<void>(test::run_until_killed<int>(std::chrono::milliseconds(life_ms), [&](auto&& report) {
            report(0); // from now on
            for (;;) report(reprocess(whole, {}, output.path()) ? 1 : 0);
        }));
        INFO("killed after " << life_ms << " ms");
        for (const auto& path : recording_files(output.path())) {
            CHECK(recording_info(path).closed);
            CHECK(chunks_of(path).size() == chunks);
        }
    }
    for (const auto& path : recording_files(output.path())) std::filesystem::remove(path);
    const auto made = reprocess(whole, {}, output.path());
    INFO((made ? "" : made.error().message));
    REQUIRE(made);
    CHECK(output.names().size() == 1); // nothing is left of the others
}

TEST_CASE("damage inside a file is named, by verify and by reprocess, and everything else comes back") {
    const TemporaryFolder directory;
    const auto whole = directory.recording(record_flight(directory, demo_setup()));
    const std::size_t chunks = chunks_of(whole).size();
    const auto frames = [](const std::filesystem::path& path) {
        return Database(path, Database::Mode::read_only).integer("SELECT count(*) FROM frame");
    };
    struct Case {
        const char* sql;
        const char* message;
        std::size_t lost_chunks = 0;
        bool same_frames = true;
    };
    const Case cases[] = {
        {"UPDATE chunk SET t_rx_ns = t_rx_ns + (1 << 62) WHERE input = (SELECT max(input) FROM chunk)", "is dated "},
        {"UPDATE chunk SET t_rx_ns = t_rx_ns + (1 << 44) WHERE input = (SELECT max(input) FROM chunk)",
         " is dated 175"},
        {"UPDATE chunk SET t_rx_ns = t_rx_ns + (1 << 44) WHERE input = 50", "input 50 is dated 175"},
        {"UPDATE chunk SET t_rx_ns = t_rx_ns - (1 << 44) WHERE input = 50", "s before the input that precedes it"},
        {"UPDATE chunk SET t_rx_ns = t_rx_ns + (1 << 44) WHERE input IN (50, 70, 90)", "; and 2 more of the like"},
        {"UPDATE chunk SET link = 99 WHERE input = 50", "input 50 came by link 99, but the links are 0 to 0", 1, false},
        {"UPDATE action SET json = '{\"action\": \"mar' WHERE input = (SELECT min(input) FROM action)",
         "an action, cannot be read"},
        {"UPDATE action SET json = '17' WHERE input = (SELECT min(input) FROM action)", "an action, cannot be read"},
    };
#ifdef TURNSTONE_INSTRUMENTED // four seconds each
    const std::size_t apart = 3;
#else
    const std::size_t apart = 1;
#endif
    for (std::size_t i = 0; i < std::size(cases); i += apart) {
        const Case& c = cases[i];
        INFO(c.sql);
        const TemporaryFolder output;
        const auto changed = directory.recording("changed");
        std::filesystem::copy_file(whole, changed, std::filesystem::copy_options::overwrite_existing);
        Database(changed, Database::Mode::read_write).execute(c.sql);
        const auto verified = verify_recording(changed);
        REQUIRE_FALSE(verified);
        CHECK_THAT(verified.error().message, Catch::Contains("is damaged") && Catch::Contains(c.message));
        const auto made = reprocess(changed, {}, output.path());
        REQUIRE_FALSE(made);
        CHECK_THAT(made.error().message, Catch::Contains(c.message));
        const auto path = made_from_damaged(made.error().message);
        CHECK(chunks_of(path).size() == chunks - c.lost_chunks);
        CHECK((frames(path) == frames(whole)) == c.same_frames);
        const auto again = verify_recording(path);
        REQUIRE(again);
        CHECK(again->differences == 0);
    }
}

TEST_CASE("an action that only another version knows is not damage") {
    const TemporaryFolder directory;
    const auto path = directory.recording(record_flight(directory, demo_setup()));
    Database(path, Database::Mode::read_write)
        .execute("INSERT INTO action SELECT max(input) + 1, max(t_ns), '{\"action\": \"wave\", \"hands\": 2}' "
                 "FROM action; UPDATE meta SET value = value + 1 WHERE key = 'derived_inputs'");
    const auto report = verify_recording(path);
    REQUIRE(report);
    CHECK(report->differences == 0);
}

TEST_CASE("verifying tells how far it is") {
    const TemporaryFolder directory;
    const auto path = directory.recording(record_flight(directory, demo_setup()));
    std::vector<double> told;
    const auto report = verify_recording(path, {}, [&told](double done) { told.push_back(done); });
    REQUIRE(report);
    CHECK(told.size() == report->chunks + report->actions);
    CHECK(std::ranges::is_sorted(told));
    CHECK(told.front() > 0);
    CHECK(told.back() == 1);
}

} // namespace
} // namespace turnstone
