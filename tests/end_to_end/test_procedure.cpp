// A procedure that the server dies in: the real server, killed with nine, goes on with it, and everything that it
// confirmed before is kept.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/serve/client.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;
using nlohmann::json;

namespace {

/// A real server on the radio of a simulated rocket on its rail, with an operator at it.
class Desk {
  public:
    Desk(const TemporaryFolder& folder, const std::filesystem::path& radio)
        : server_({program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
                   demo_path("site.json"), "--link", "serial:" + radio.string() + "?baud=57600", "--port", "0",
                   "--recordings", (folder.path() / "recordings").string(), "--operator-key-file",
                   (folder.path() / "key").string()},
                  folder.path() / "server.log") {
        const auto port = server_.wait_for("listening on http://[^ ]+:([0-9]+)", 20s);
        if (!port) throw std::runtime_error("no server: " + server_.output());
        port_ = static_cast<std::uint16_t>(std::stoi(*port));
        std::string key;
        std::ifstream(folder.path() / "key") >> key;
        const HttpReply reply = send("/api/session", {{"key", key}});
        const std::string cookie = reply.field("Set-Cookie");
        cookie_ = {{"Cookie", cookie.substr(0, cookie.find(';'))}};
    }
    /// Of a request of the operator's.
    unsigned act(const std::string& what, json body) {
        body["vehicle"] = "sanderling";
        body["by"] = "KL";
        unsigned status = 0; // the address is said before the recording begins
        for (int k = 0; k < 200; ++k, std::this_thread::sleep_for(50ms))
            if (status = send("/api/live/" + what, body).status; status != 503) break;
        return status;
    }
    /// Waits until the recording tells of the event so many times.
    [[nodiscard]] bool told(const std::string& event, const std::string& step, std::size_t times = 1) const {
        for (int k = 0; k < 600; ++k, std::this_thread::sleep_for(50ms))
            if (count(event, step) >= times) return true;
        return false;
    }
    [[nodiscard]] std::size_t count(const std::string& event, const std::string& step) const {
        const HttpReply reply = http_request(port_, "GET", "/api/recordings/live/events");
        if (reply.status != 200) return 0;
        std::size_t found = 0;
        const json events = reply.json().at("events"); // of a temporary, a loop would read what is gone
        for (const json& each : events)
            found += each.at("event") == event && (step.empty() || each.at("data").value("step", "") == step);
        return found;
    }
    void kill() {
        server_.signal(SIGKILL);
        CHECK(server_.wait(5s) == 128 + SIGKILL);
    }
    void end() {
        server_.signal(SIGTERM);
        CHECK(server_.wait(30s) == 0);
    }

  private:
    HttpReply send(const std::string& target, const json& body) {
        Fields fields{{"Content-Type", "application/json"}};
        fields.insert(fields.end(), cookie_.begin(), cookie_.end());
        return http_request(port_, "POST", target, fields, body.dump());
    }

    Child server_;
    std::uint16_t port_ = 0;
    Fields cookie_;
};

} // namespace

TEST_CASE("A procedure goes on after the server was killed in it, with everything confirmed kept") {
    const TemporaryFolder folder;
    const auto radio = folder.path() / "radio";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "on-the-rail", "--seed", "7", "--to", "pty:" + radio.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait_for("sending to", 60s).has_value());
    const json done{{"do", "done"}};
    const auto step = [&](const char* id) {
        json body = done;
        body["step"] = id;
        return body;
    };
    {
        Desk desk(folder, radio);
        REQUIRE(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "begin"}}) == 200);
        REQUIRE(desk.act("statement", {{"check", "inert"}, {"holds", true}, {"note", "two of us looked"}}) == 200);
        REQUIRE(desk.act("step", step("inert")) == 200);
        REQUIRE(desk.act("step", step("on_rail")) == 200);
        desk.kill(); // at once: what was answered is in the file
    }
    {
        Desk desk(folder, radio);
        REQUIRE(desk.told("station_resumed", ""));
        for (const char* kept : {"inert", "on_rail"}) {
            INFO(kept);
            CHECK(desk.count("step_done", kept) == 1);
        }
        CHECK(desk.count("statement", "") == 1);
        CHECK(desk.count("procedure_begun", "") == 1);
        // It is still under way: another is refused, its own next steps are taken.
        CHECK(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "begin"}}) == 409);
        CHECK(desk.told("step_done", "up")); // by itself, when link and lamps are good
        CHECK(desk.act("step", step("rail")) == 200);
        CHECK(desk.told("step_done", "rail"));
        CHECK(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "end"}}) == 200);
        CHECK(desk.told("procedure_ended", ""));
        CHECK(desk.act("step", step("hold")) == 409);
        desk.end();
    }
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path() / "recordings"))
        if (entry.path().extension() == ".sqlite") files.push_back(entry.path());
    REQUIRE(files.size() == 1);
    Database database(files.front());
    CHECK(database.text("SELECT group_concat(json_extract(data_json, '$.step'), ' ') FROM event "
                        "WHERE event = 'step_done' ORDER BY id") == "inert on_rail up rail");
    CHECK(database.text("SELECT json_extract(data_json, '$.note') FROM event WHERE event = 'statement'") ==
          "two of us looked");
    Child verify({program_path("turnstone"), "verify", files.front().string()}, folder.path() / "verify.log");
    CHECK(verify.wait(120s) == 0);
    CHECK(verify.output().find("bit for bit") != std::string::npos);
}
