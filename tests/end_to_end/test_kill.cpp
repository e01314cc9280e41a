// The promise of the recorder: kill -9 at any moment loses at most 250 ms of what arrived, and never leaves a file that
// does not open. The real server, a real pseudo-terminal, twenty kills.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <random>
#include <set>
#include <thread>

#include "server/link/link.hpp"
#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;

TEST_CASE("A server killed at random moments loses at most 250 ms and its files open") {
    constexpr int kKills = 20;
    constexpr double kPromise_ms = 250;
    const TemporaryFolder folder;
    const auto port = folder.path() / "radio";
    const auto recordings = folder.path() / "recordings";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "on-the-rail", "--before-ignition-s", "600", "--seed", "7", "--to",
                     "pty:" + port.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait_for("sending to", 60s).has_value());
    std::mt19937 random(20240611);
    std::uniform_int_distribution<int> delay_ms(300, 1500);
    std::set<std::filesystem::path> seen;
    double loss_ms_max = 0;
    for (int kill = 0; kill < kKills; ++kill) {
        Child server({program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
                      demo_path("site.json"), "--link", "serial:" + port.string() + "?baud=57600", "--port", "0",
                      "--recordings", recordings.string()},
                     folder.path() / "server.log");
        INFO(server.output());
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 10s).has_value());
        std::this_thread::sleep_for(std::chrono::milliseconds(1000 + delay_ms(random)));
        server.signal(SIGKILL);
        const std::int64_t killed_utc_ns = utc_now_ns();
        REQUIRE(server.wait(5s) == 128 + SIGKILL);

        std::filesystem::path file;
        for (const auto& entry : std::filesystem::directory_iterator(recordings))
            if (entry.path().extension() == ".sqlite" && seen.insert(entry.path()).second) file = entry.path();
        INFO("kill " << kill << ", " << file);
        REQUIRE(!file.empty());
        Database database(file);
        CHECK(database.text("PRAGMA integrity_check") == "ok");
        const std::int64_t last_utc_ns = database.integer("SELECT max(utc_rx_ns) FROM chunk");
        const double loss_ms = static_cast<double>(killed_utc_ns - last_utc_ns) * 1e-6;
        CHECK(loss_ms <= kPromise_ms);
        loss_ms_max = std::max(loss_ms_max, loss_ms);
        // What was committed is whole: every frame points into bytes that are there.
        CHECK(database.integer("SELECT count(*) FROM frame") > 10);
        CHECK(database.integer("SELECT coalesce(max(stream_offset + link_octets), 0) FROM frame") <=
              database.integer("SELECT sum(length(bytes)) FROM chunk"));
    }
    WARN("greatest loss over " << kKills << " kills: " << loss_ms_max << " ms");
}
