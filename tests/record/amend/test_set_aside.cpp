#include <catch2/catch.hpp>

#include <chrono>
#include <filesystem>
#include <fstream>

#include "server/record/amend/set_aside.hpp"
#include "server/record/write/recording_claim.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

using Clock = std::chrono::system_clock;
using test::TemporaryFolder;

void write(const std::filesystem::path& file, const char* text) {
    std::ofstream(file) << text;
}

TEST_CASE("a recording that was set aside comes back as it was, with what lies beside it") {
    const TemporaryFolder folder;
    const auto recording = folder.recording("a");
    write(recording, "the file");
    write(recording.string() + "-wal", "its log");
    REQUIRE(set_aside(recording));
    CHECK_FALSE(std::filesystem::exists(recording));
    CHECK_FALSE(std::filesystem::exists(recording.string() + "-wal"));
    const auto aside = recordings_aside(folder.path(), Clock::now());
    REQUIRE(aside.size() == 1);
    CHECK(aside[0].id == "a");

    REQUIRE(bring_back(folder.path(), "a"));
    CHECK(test::read_file(recording) == "the file");
    CHECK(test::read_file(recording.string() + "-wal") == "its log");
    CHECK(recordings_aside(folder.path(), Clock::now()).empty());
    CHECK_FALSE(bring_back(folder.path(), "a"));
}

TEST_CASE("a day later it is gone") {
    const TemporaryFolder folder;
    write(folder.recording("a"), "x");
    REQUIRE(set_aside(folder.recording("a")));
    CHECK(recordings_aside(folder.path(), Clock::now() + std::chrono::hours(23)).size() == 1);
    CHECK(recordings_aside(folder.path(), Clock::now() + std::chrono::hours(25)).empty());
    CHECK_FALSE(bring_back(folder.path(), "a"));
}

TEST_CASE("nobody's recording is replaced, and none that is being written is taken away") {
    const TemporaryFolder folder;
    const auto recording = folder.recording("a");
    write(recording, "first");
    REQUIRE(set_aside(recording));
    write(recording, "second");
    CHECK_FALSE(bring_back(folder.path(), "a"));
    CHECK(test::read_file(recording) == "second");
    const auto claim = RecordingClaim::take(recording);
    REQUIRE(claim);
    CHECK_FALSE(set_aside(recording));
    CHECK(std::filesystem::exists(recording));
    for (const char* bad : {"../a", "", ".removed", "a/b"}) CHECK_FALSE(bring_back(folder.path(), bad));
}

} // namespace
} // namespace turnstone
