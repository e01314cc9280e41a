/// What killed processes leave in the folder of recordings.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/write/recording_claim.hpp"
#include "server/record/write/repair.hpp"
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
