/// kill -9 of a process that records, at random moments: the file opens, is whole, and lost no more than
/// promised.
#include <algorithm>
#include <chrono>
#include <random>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/derive.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/record/support.hpp"
#include "tests/support/killed_child.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using SteadyClock = std::chrono::steady_clock;

constexpr std::chrono::milliseconds kPromise(250);
/// Four times as often as a link at 115,200 baud hands over. What is lost is counted in batches: while a machine
/// stalls, nothing is handed over, and a recorder that gets no processor cannot commit.
constexpr std::chrono::milliseconds kPace(5);
constexpr std::size_t kPromisedBatches = kPromise / kPace;

/// When the batch was handed over, on the clock that parent and child share.
[[noreturn]] void record_until_killed(const std::filesystem::path& directory, auto&& report) {
    Recorder recorder(recorder_settings(directory), sample_setup());
    recorder.begin(sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                   kStart_ns);
    BatchMaker maker;
    for (;;) {
        push(recorder, maker.next());
        report(SteadyClock::now());
        std::this_thread::sleep_for(kPace);
    }
}

TEST_CASE("killed at random moments, a recording opens, is whole and lost at most the promised time", "[alone]") {
    std::mt19937 random(20);
    SteadyClock::duration worst{};
    std::size_t worst_batches = 0;
    std::size_t with_data = 0, with_derived = 0;
    for (int round = 0; round < 20; ++round) {
        INFO("round " << round);
        const TemporaryFolder directory;
        const auto child = test::run_until_killed<SteadyClock::time_point>(
            std::chrono::milliseconds(round % 2 == 0 ? 30 + random() % 500 : 1500 + random() % 200),
            [&](auto&& report) { record_until_killed(directory.path(), report); });
        const auto& pushed = child.reports; // of these the last kPromisedBatches may be lost

        // Killed before its first commit it has no log yet, which looks like one that was lost.
        bool begun = false;
        for (const auto& entry : std::filesystem::directory_iterator(directory.path()))
            begun |= entry.path().string().ends_with("-wal") && entry.file_size() > 0;
        const auto found = scan_recordings(directory.path());
        const bool old_enough = pushed.size() > kPromisedBatches;
        if (found.empty()) {
            REQUIRE_FALSE(old_enough);
            continue;
        }
        REQUIRE(found.size() == 1);
        INFO(found[0].damage);
        REQUIRE((found[0].damage.empty() || !begun));
        CHECK_FALSE(found[0].closed);
        std::uint64_t stored = 0;
        {
            Database database(found[0].path, Database::Mode::read_only);
            REQUIRE(database.text("PRAGMA integrity_check") == "ok");
            stored = static_cast<std::uint64_t>(database.integer("SELECT count(*) FROM chunk"));
            // What was derived follows the bytes, never the other way round.
            const auto frames = database.integer("SELECT count(*) FROM frame");
            CHECK(frames <= static_cast<std::int64_t>(stored));
            with_derived += frames > 0 ? 1U : 0U;
        }
        with_data += stored > 0 ? 1U : 0U;
        if (stored < pushed.size()) {
            worst = std::max(worst, child.killed_at - pushed[stored].second);
            worst_batches = std::max(worst_batches, pushed.size() - stored);
            CHECK(pushed.size() - stored <= kPromisedBatches);
        }

        // As the next start does.
        REQUIRE(finish_recording(found[0].path) == RepairOutcome::repaired);
        const auto repaired = scan_recordings(directory.path());
        REQUIRE(repaired.size() == 1);
        CHECK(repaired[0].closed);
        CHECK(repaired[0].repaired);
        CHECK(repaired[0].damage.empty());
        const std::vector<std::string> names = directory.names();
        CHECK(std::ranges::count_if(names, [](const std::string& name) {
                  return !name.starts_with(".recorder-"); // the next recorder takes that one's place
              }) == 1);
        CHECK(finish_recording(found[0].path) == RepairOutcome::nothing_to_do);
    }
    CHECK(with_data >= 10);
    CHECK(with_derived >= 5); // which are written after a second and a half
    WARN("worst loss " << worst / std::chrono::milliseconds(1) << " ms of " << kPromise.count() << " ms promised, "
                       << worst_batches << " batches of " << kPromisedBatches);
}

} // namespace
} // namespace turnstone
