// The promise of the recorder: kill -9 at any moment loses at most 250 ms of what arrived, on a quiet computer, on one
// that is busy with other things, and on one that gives the server a seventh of a core. And a recording that was cut
// short goes on: the real server, a real pseudo-terminal, kill after kill into one file, which is then found to be bit
// for bit what its bytes give.
#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <memory>
#include <random>
#include <set>
#include <thread>
#include <vector>

#include "server/link/link.hpp"
#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/serve/client.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

constexpr double kPromise_ms = 250;

/// Of each case: a few in every run of the tests, more by request.
int kills() {
    const char* asked = std::getenv("TURNSTONE_KILLS");
    return asked == nullptr ? 8 : std::max(1, std::atoi(asked));
}

/// Something else that the computer does meanwhile, over and over, on threads of its own.
class Meanwhile {
  public:
    Meanwhile(unsigned threads, const std::function<void()>& once) {
        for (unsigned i = 0; i < threads; ++i)
            threads_.emplace_back([this, once] {
                while (!stop_) once();
            });
    }
    Meanwhile(const Meanwhile&) = delete;
    Meanwhile& operator=(const Meanwhile&) = delete;
    ~Meanwhile() {
        stop_ = true;
        for (std::thread& thread : threads_) thread.join();
    }

  private:
    std::atomic<bool> stop_ = false;
    std::vector<std::thread> threads_;
};
using Around = std::unique_ptr<Meanwhile> (*)(const Child& server);

std::unique_ptr<Meanwhile> quiet(const Child&) {
    return nullptr;
}
/// Every core has other work, twice over.
std::unique_ptr<Meanwhile> busy(const Child&) {
    return std::make_unique<Meanwhile>(
        2 * std::thread::hardware_concurrency(), [] {});
}
/// The server runs 15 ms of every 100, as a quota of the operating system would have it.
std::unique_ptr<Meanwhile> throttled(const Child& server) {
    return std::make_unique<Meanwhile>(
        1,
        [&server] {
            server.signal(SIGSTOP);
            std::this_thread::sleep_for(85ms);
            server.signal(SIGCONT);
            std::this_thread::sleep_for(15ms);
        });
}

struct Station {
    TemporaryFolder folder;
    std::filesystem::path port = folder.path() / "radio", recordings = folder.path() / "recordings";
    Child simulator{{program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--before-ignition-s", "12", "--after-touchdown-s", "600", "--seed", "7", "--to",
                     "pty:" + port.string()},
                    folder.path() / "simulate.log"};

    [[nodiscard]] std::vector<std::string> serve(const std::vector<std::string>& more = {}) const {
        std::vector<std::string> words{program_path("turnstone"),
                                       "serve",
                                       "--vehicle",
                                       demo_path("sanderling"),
                                       "--site",
                                       demo_path("site.json"),
                                       "--link",
                                       "serial:" + port.string() + "?baud=57600",
                                       "--port",
                                       "0",
                                       "--recordings",
                                       recordings.string()};
        words.insert(words.end(), more.begin(), more.end());
        return words;
    }
    [[nodiscard]] std::vector<std::filesystem::path> files() const {
        std::set<std::filesystem::path> found;
        for (const auto& entry : std::filesystem::directory_iterator(recordings))
            if (entry.path().extension() == ".sqlite") found.insert(entry.path());
        return {found.begin(), found.end()};
    }
};

/// Kills the server again and again through a flight; returns the greatest loss in milliseconds.
double loss_over_kills(Station& station, Around around) {
    REQUIRE(station.simulator.wait_for("sending to", 60s).has_value());
    std::mt19937 random(20240611);
    std::uniform_int_distribution<int> delay_ms(300, 1500);
    double loss_ms_max = 0;
    for (int kill = 0; kill < kills(); ++kill) {
        INFO("kill " << kill);
        Child server(station.serve(), station.folder.path() / "server.log");
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
        auto meanwhile = around(server);
        std::this_thread::sleep_for(std::chrono::milliseconds(1500 + delay_ms(random)));
        server.signal(SIGKILL);
        const std::int64_t killed_utc_ns = utc_now_ns();
        meanwhile.reset();
        REQUIRE(server.wait(5s) == 128 + SIGKILL);
        INFO(server.output());
        REQUIRE(station.files().size() == 1);
        Database database(station.files().front());
        CHECK(database.text("PRAGMA integrity_check") == "ok");
        const std::int64_t last_utc_ns =
            database.integer("SELECT max(start.t_ns + t_rx_ns + utc_offset_ns) FROM chunk, start");
        const double loss_ms = static_cast<double>(killed_utc_ns - last_utc_ns) * 1e-6;
        CHECK(loss_ms <= kPromise_ms);
        loss_ms_max = std::max(loss_ms_max, loss_ms);
        // What was committed is whole: every frame points into bytes that are there.
        CHECK(database.integer("SELECT coalesce(max(stream_offset + link_octets), 0) FROM frame") <=
              database.integer("SELECT sum(length(bytes)) FROM chunk"));
    }
    return loss_ms_max;
}

/// Ends the session properly, and checks that the file is what its bytes give and that the gaps are marked.
void finish_and_verify(const Station& station) {
    {
        Child server(station.serve(), station.folder.path() / "server.log");
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
        std::this_thread::sleep_for(3s);
        server.signal(SIGTERM);
        CHECK(server.wait(30s) == 0);
    }
    REQUIRE(station.files().size() == 1);
    const auto file = station.files().front();
    Child verify({program_path("turnstone"), "verify", file.string()}, station.folder.path() / "verify.log");
    CHECK(verify.wait(120s) == 0);
    CHECK(verify.output().find("bit for bit") != std::string::npos);
    Database database(file);
    CHECK(database.integer("SELECT count(*) FROM event WHERE event = 'station_resumed'") == kills());
    CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");
    // Nobody is told of a second flight.
    CHECK(database.integer("SELECT count(*) FROM event WHERE event = 'liftoff'") <= 1);
}

} // namespace

TEST_CASE("A server killed at random moments loses at most 250 ms, and its recording continues", "[alone]") {
    struct Case {
        const char* computer;
        Around around;
    };
    const auto [computer, around] =
        GENERATE(Case{"quiet", quiet}, Case{"busy", busy}, Case{"a seventh of a core", throttled});
    INFO(computer);
    Station station;
    WARN("greatest loss over " << kills() << " kills, " << computer << ": " << loss_over_kills(station, around)
                               << " ms");
    finish_and_verify(station);
}

TEST_CASE("Asked for a new recording, a server does not go on in the one that was cut short") {
    Station station;
    REQUIRE(station.simulator.wait_for("sending to", 60s).has_value());
    {
        Child server(station.serve(), station.folder.path() / "server.log");
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
        std::this_thread::sleep_for(1500ms);
        server.signal(SIGKILL);
        CHECK(server.wait(5s) == 128 + SIGKILL);
    }
    {
        Child server(station.serve({"--new"}), station.folder.path() / "server.log");
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
        std::this_thread::sleep_for(1500ms);
        server.signal(SIGTERM);
        CHECK(server.wait(30s) == 0);
    }
    REQUIRE(station.files().size() == 2);
    for (const auto& file : station.files()) {
        Database database(file);
        CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") ==
              (file == station.files().front() ? "repaired" : "clean"));
        CHECK(database.integer("SELECT count(*) FROM event WHERE event = 'station_resumed'") == 0);
    }
}

TEST_CASE("An operator stays one when the server is killed and started again, while the key is the same") {
    Station station;
    REQUIRE(station.simulator.wait_for("sending to", 60s).has_value());
    std::string port = "0", key, cookie;
    // Who has the cookie, at another start, which is then killed. At the first one the key is shown.
    const auto role = [&](const std::vector<std::string>& more) {
        std::vector<std::string> words = station.serve(more);
        *std::next(std::ranges::find(words, "--port")) = port; // cookies are of one port
        Child server(words, station.folder.path() / "server.log");
        port = server.wait_for("listening on http://[^ ]+:([0-9]+)", 20s).value_or("");
        key = server.wait_for("operator key: ([^ \n]+)", 20s).value_or("");
        const auto number = static_cast<std::uint16_t>(std::stoi(port));
        if (cookie.empty()) {
            const HttpReply unlocked = http_request(
                number, "POST", "/api/session", {{"Content-Type", "application/json"}}, "{\"key\":\"" + key + "\"}");
            const std::string set = unlocked.field("Set-Cookie");
            cookie = set.substr(0, set.find(';'));
        }
        const auto answer = http_request(number, "GET", "/api/session", {{"Cookie", cookie}}).json();
        std::this_thread::sleep_for(1500ms); // there is something to go on with
        server.signal(SIGKILL);
        CHECK(server.wait(5s) == 128 + SIGKILL);
        return answer.at("role").get<std::string>();
    };
    SECTION("made at each start: as long as the recording that was cut short continues") {
        CHECK(role({}) == "operator");
        CHECK(role({}) == "operator");
        CHECK(role({"--new"}) == "viewer");
        CHECK(role({}) == "viewer"); // and does not come to life again
    }
    SECTION("chosen: until another one is") {
        const auto chosen = [&](const std::string& text) {
            return std::vector<std::string>{
                "--new", "--config",
                station.folder.write("config.json", "{\"operator_key\":\"" + text + "\"}").string()};
        };
        CHECK(role(chosen("one-that-people-chose")) == "operator");
        CHECK(role(chosen("one-that-people-chose")) == "operator");
        CHECK(role(chosen("another-of-their-keys")) == "viewer");
        CHECK(role(chosen("one-that-people-chose")) == "viewer");
    }
}

TEST_CASE("What was sent while the server was down is not lost by the link") {
    Station station;
    REQUIRE(station.simulator.wait_for("sending to", 60s).has_value());
    for (const int last : {SIGKILL, SIGTERM}) {
        Child server(station.serve(), station.folder.path() / "server.log");
        REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
        std::this_thread::sleep_for(4s);
        server.signal(last);
        CHECK(server.wait(30s) == (last == SIGKILL ? 128 + SIGKILL : 0));
        if (last == SIGKILL) std::this_thread::sleep_for(5s);
    }
    REQUIRE(station.files().size() == 1);
    Database database(station.files().front());
    REQUIRE(database.integer("SELECT count(*) FROM event WHERE event = 'station_resumed'") == 1);
    CHECK(database.integer("SELECT max(received) FROM link_serial") > 200);
    CHECK(database.integer("SELECT max(lost) FROM link_serial") <= 2);
}
