// Every thread of the server at once: a flight that is received, recorded and predicted, while viewers look, one of
// them slowly and one at a replay, others read what is recorded and ask for work, and the operator acts. In the build
// with the thread sanitizer a race that any of it shows ends the server with an exit code.
#include <catch2/catch.hpp>

#include <atomic>
#include <chrono>
#include <exception>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/database.hpp"
#include "tests/end_to_end/desk.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;
using nlohmann::json;

namespace {

/// What a viewer was sent until its connection or the flight ended.
std::size_t messages_until(const std::atomic<bool>& over, StreamClient& viewer, std::chrono::milliseconds pause) {
    std::size_t count = 0;
    for (; !over && viewer.close_code() == 0; std::this_thread::sleep_for(pause)) count += viewer.next(1s).has_value();
    return count;
}

std::size_t answers_until(const std::atomic<bool>& over, std::uint16_t port, const std::vector<std::string>& targets) {
    std::size_t good = 0;
    for (std::size_t k = 0; !over; ++k, std::this_thread::sleep_for(150ms))
        good += http_request(port, "GET", targets[k % targets.size()]).status == 200;
    return good;
}

} // namespace

TEST_CASE("A flight that many look at, read from and act in is received, and the server ends cleanly") {
    const TemporaryFolder folder;
    const auto radio = folder.path() / "radio";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--before-ignition-s", "8", "--after-touchdown-s", "2", "--seed", "7", "--wait-s", "60", "--to",
                     "pty:" + radio.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait_for("sending to", 60s).has_value());
    Desk desk(folder, radio);
    REQUIRE(desk.post("marker", {{"text", "on the rail"}}) == 200);

    std::atomic<bool> over = false;
    std::vector<std::size_t> seen(6);
    std::vector<std::thread> people;
    std::vector<std::string> cut_off(seen.size());
    const auto person = [&](std::size_t who, auto work) {
        people.emplace_back([&seen, &cut_off, who, work] {
            try {
                seen[who] = work();
            } catch (const std::exception& error) {
                cut_off[who] = error.what();
            }
        });
    };
    for (const std::size_t who : {0, 1})
        person(who, [&, who] {
            StreamClient viewer(desk.port());
            return messages_until(over, viewer, who == 0 ? 0ms : 700ms);
        });
    person(
        2,
        [&] {
            StreamClient viewer(desk.port());
            viewer.send(R"({"type":"open","recording":"live"})");
            viewer.send(R"({"type":"seek","t_s":1})");
            viewer.send(R"({"type":"play","rate":10})");
            return messages_until(over, viewer, 0ms);
        });
    person(
        3,
        [&] {
            return answers_until(over, desk.port(),
                                 {"/api/recordings", "/api/recordings/live/description", "/api/health", "/api/counters",
                                  "/api/recordings/live/series?table=0&points=200", "/api/recordings/live/events"});
        });
    person(4, [&] {
        return answers_until(over, desk.port(),
                             {"/api/flights", "/api/recordings/live/report", "/api/recordings/live/frames?limit=50",
                              "/api/recordings/live/download"});
    });
    person(5, [&] {
        std::size_t done = 0;
        for (int k = 0; !over; ++k, std::this_thread::sleep_for(2s)) {
            done += desk.post("marker", {{"text", "mark " + std::to_string(k)}}) == 200;
            if (k % 10 == 5) done += desk.post("recording", {{"name", "once more"}}) == 200;
        }
        return done;
    });
    const auto simulated = simulator.wait(280s);
    over = true;
    for (std::thread& one : people) one.join();
    INFO(simulator.output());
    CHECK(simulated == 0);
    CHECK(cut_off == std::vector<std::string>(seen.size()));
    for (const std::size_t count : seen) CHECK(count > 5);
    desk.end();

    std::int64_t recordings = 0, frames = 0, bad = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path() / "recordings")) {
        if (entry.path().extension() != ".sqlite") continue;
        INFO(entry.path());
        Database database(entry.path());
        CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");
        ++recordings;
        frames += database.integer("SELECT count(*) FROM frame");
        bad += database.integer("SELECT count(*) FROM frame WHERE frame_verdict != 0");
    }
    CHECK(frames > 5000);
    CHECK(recordings >= 2);
    // Each may begin within a frame: the first as the server listens, another with what is carried.
    CHECK(bad <= recordings);
}
