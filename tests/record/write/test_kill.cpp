/// kill -9 of a process that records, at random moments: the file opens, is whole, and lost no more than
/// promised.
#include <chrono>
#include <csignal>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using Clock = std::chrono::steady_clock;

constexpr std::int64_t kPromise_ms = 250;

/// Told to the parent before each push: from then on the batch may be lost for kPromise_ms.
struct Pushed {
    std::uint64_t input;
    std::int64_t at_ns;
};

std::int64_t steady_ns() {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now().time_since_epoch()).count();
}

[[noreturn]] void record_until_killed(const std::filesystem::path& directory, int report) {
    {
        Recorder recorder({.directory = directory}, sample_setup());
        recorder.begin(sample_schema(), kStart_ns, kStart_ns, "");
        BatchMaker maker;
        for (;;) {
            recorder.push(maker.next());
            const Pushed pushed{maker.made() - 1, steady_ns()};
            if (::write(report, &pushed, sizeof(pushed)) != sizeof(pushed)) ::_exit(1);
            std::this_thread::sleep_for(std::chrono::microseconds(500));
        }
    }
}

TEST_CASE("killed at random moments, a recording opens, is whole and lost at most the promised time") {
    std::mt19937 random(20);
    std::int64_t worst_ms = 0;
    std::size_t with_data = 0;
    for (int round = 0; round < 20; ++round) {
        INFO("round " << round);
        const ScratchDirectory directory;
        int report[2];
        REQUIRE(::pipe(report) == 0);
        const pid_t child = ::fork();
        REQUIRE(child >= 0);
        if (child == 0) {
            ::close(report[0]);
            record_until_killed(directory.path(), report[1]);
        }
        ::close(report[1]);
        const auto life = std::chrono::milliseconds(30 + random() % 500);
        std::vector<Pushed> pushed;
        std::thread listener([&] {
            Pushed one{};
            while (::read(report[0], &one, sizeof(one)) == sizeof(one)) pushed.push_back(one);
        });
        std::this_thread::sleep_for(life);
        const std::int64_t killed_ns = steady_ns();
        REQUIRE(::kill(child, SIGKILL) == 0);
        REQUIRE(::waitpid(child, nullptr, 0) == child);
        listener.join();
        ::close(report[0]);

        const auto found = scan_recordings(directory.path());
        const bool old_enough = !pushed.empty() && killed_ns - pushed.front().at_ns > kPromise_ms * kMs;
        if (found.empty()) {
            REQUIRE_FALSE(old_enough);
            continue;
        }
        REQUIRE(found.size() == 1);
        REQUIRE(found[0].damage.empty());
        CHECK_FALSE(found[0].closed);
        std::uint64_t stored = 0;
        {
            Database database(found[0].path, Database::Mode::read_only);
            REQUIRE(database.text("PRAGMA integrity_check") == "ok");
            stored = static_cast<std::uint64_t>(database.integer("SELECT count(*) FROM chunk"));
            // Bytes and what was derived from them were committed together.
            CHECK(database.integer("SELECT count(*) FROM frame") == static_cast<std::int64_t>(stored));
            CHECK(database.integer("SELECT count(*) FROM sanderling_imu") == static_cast<std::int64_t>(stored));
        }
        with_data += stored > 0 ? 1U : 0U;
        if (stored < pushed.size()) {
            const std::int64_t lost_ms = (killed_ns - pushed[stored].at_ns) / kMs;
            worst_ms = std::max(worst_ms, lost_ms);
            CHECK(lost_ms <= kPromise_ms);
        }

        // The next start mends it.
        {
            Recorder recorder({.directory = directory.path()}, sample_setup());
            recorder.begin(sample_schema(), kStart_ns, kStart_ns + 1'000'000 * kMs, "");
            REQUIRE(recorder.flush(5000));
        }
        const auto mended = scan_recordings(directory.path());
        REQUIRE(mended.size() == 2);
        CHECK(mended[1].closed);
        CHECK(mended[1].repaired);
        CHECK(mended[1].damage.empty());
        CHECK(directory.names().size() == 2);
        auto reader = RecordingReader::open(mended[1].path);
        REQUIRE(reader);
        const auto block = reader->series({0, {0}, 0, std::numeric_limits<std::int64_t>::max(), 3});
        REQUIRE(block);
        std::uint64_t drawn = 0;
        for (const std::uint32_t count : block->count) drawn += count;
        CHECK(drawn == stored);
    }
    CHECK(with_data >= 10);
    WARN("worst loss " << worst_ms << " ms of " << kPromise_ms << " ms promised");
}

} // namespace
} // namespace turnstone
