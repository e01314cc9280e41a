/// What killed processes leave in the folder of recordings.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/unfinished.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/repair.hpp"
#include "tests/record/demo_flight.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;

std::vector<std::string> sorted_names(const TemporaryFolder& folder) {
    std::vector<std::string> names = folder.names();
    std::ranges::sort(names);
    return names;
}

TEST_CASE("leftovers of killed processes go, and everything that somebody needs or works at stays") {
    const TemporaryFolder folder;
    const auto old = std::filesystem::file_time_type::clock::now() - std::chrono::hours(1);
    const auto leave = [&](const std::string& name, bool is_old = true) {
        const auto path = folder.write(name, "what a kill left");
        if (is_old) std::filesystem::last_write_time(path, old);
    };
    for (const char* dead : {".a.sqlite.new", ".b.unfinished.sqlite", ".b.unfinished.sqlite-wal", ".c.sqlite.lock",
                             "..d.unfinished.sqlite.new", "gone.sqlite-shm"})
        leave(dead);
    leave(".young.sqlite.new", false);
    leave(".young.sqlite.lock", false); // its owner may be about to lock it
    for (const char* other : {"moved.sqlite-wal", "here.sqlite", "here.sqlite-shm", "notes.lock", ".hidden", ".lock"})
        leave(other);
    const auto in_work = RecordingClaim::take(folder.path() / ".e.unfinished.sqlite");
    leave(".e.unfinished.sqlite");
    const auto live = RecordingClaim::take(folder.recording("live"));
    leave(".live.sqlite.new");
    REQUIRE(in_work);
    REQUIRE(live);

    remove_leftovers(folder.path());
    std::vector<std::string> stay{".young.sqlite.new",
                                  ".young.sqlite.lock",
                                  "moved.sqlite-wal",
                                  "here.sqlite",
                                  "here.sqlite-shm",
                                  "notes.lock",
                                  ".hidden",
                                  ".lock",
                                  ".e.unfinished.sqlite",
                                  "..e.unfinished.sqlite.lock",
                                  ".live.sqlite.new",
                                  ".live.sqlite.lock"};
    std::ranges::sort(stay);
    CHECK(sorted_names(folder) == stay);
}

TEST_CASE("a journal that a kill left spoils nothing that is made under the name of its file") {
    const TemporaryFolder folder;
    const PipelineSetup setup = demo_setup();
    const Schema schema = Pipeline(setup, kStart_ns).schema();
    const auto make = [&](const std::filesystem::path& path) {
        create_recording(path, texts_of(setup), schema, {kStart_ns, kStart_ns, "", ""}, false);
    };
    // What SQLite finds after a kill amid a transaction: the journal as it stood then, by SQLite itself.
    const auto other = folder.recording("other");
    make(other);
    REQUIRE(make_single_file(other));
    const auto journal = folder.path() / "journal";
    {
        Database writing(other, Database::Mode::read_write);
        writing.execute("DELETE FROM vehicle_file; VACUUM; PRAGMA cache_size = 1"); // its pages are not the other's
        writing.execute("BEGIN; UPDATE own_column SET description = description || 'x'");
        std::filesystem::copy_file(other.string() + "-journal", journal);
        REQUIRE(std::filesystem::file_size(journal) > 1024);
    }
    const auto name = folder.path() / ".flight.unfinished.sqlite";
    for (const char* file : {".flight.unfinished.sqlite-journal", "..flight.unfinished.sqlite.new-journal"}) {
        INFO(file);
        std::filesystem::copy_file(journal, folder.path() / file);
        const Unfinished unfinished(folder.path(), "flight");
        make(unfinished.path());
        RecordingFile(unfinished.path(), schema, false).close("clean");
        Database made(unfinished.publish(kStart_ns, "made"), Database::Mode::read_only);
        CHECK(made.text("PRAGMA integrity_check") == "ok");
        CHECK(made.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");
    }
}

TEST_CASE("a look whether a recording is in work keeps nobody from taking it, and removing leftovers does not either") {
    const TemporaryFolder folder;
    const auto path = folder.recording("new");
    std::atomic<bool> ended = false;
    std::thread looking([&] {
        for (std::uint64_t k = 0; !ended; ++k) {
            (void)RecordingClaim::is_held(path);
            if (k % 50 == 0) remove_leftovers(folder.path());
        }
    });
    int taken = 0;
    for (int k = 0; k < 2000; ++k) taken += RecordingClaim::take(path).has_value();
    ended = true;
    looking.join();
    CHECK(taken == 2000);
}

TEST_CASE("a folder that cannot be read has no leftovers to remove") {
    CHECK_NOTHROW(remove_leftovers("/no/such/folder"));
}

} // namespace
} // namespace turnstone
