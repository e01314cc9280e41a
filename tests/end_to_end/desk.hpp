#pragma once
/// A real server with an operator at it.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>
#include <thread>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/serve/client.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

namespace turnstone::test {

/// On the radio of a simulated rocket.
class Desk {
  public:
    Desk(const TemporaryFolder& folder, const std::filesystem::path& radio, const std::string& vehicle = "sanderling",
         const std::string& radio_options = "?baud=57600")
        : server_({program_path("turnstone"), "serve", "--vehicle", demo_path(vehicle), "--site",
                   demo_path("site.json"), "--link", "serial:" + radio.string() + radio_options, "--port", "0",
                   "--recordings", (folder.path() / "recordings").string(), "--operator-key-file",
                   (folder.path() / "key").string()},
                  folder.path() / "server.log") {
        const auto port = server_.wait_for("listening on http://[^ ]+:([0-9]+)", std::chrono::seconds(20));
        if (!port) throw std::runtime_error("no server: " + server_.output());
        port_ = static_cast<std::uint16_t>(std::stoi(*port));
        std::string key;
        std::ifstream(folder.path() / "key") >> key;
        const HttpReply reply = ask("POST", "/api/session", nlohmann::json{{"key", key}}.dump());
        const std::string cookie = reply.field("Set-Cookie");
        cookie_ = {{"Cookie", cookie.substr(0, cookie.find(';'))}};
    }
    /// Of a request of the operator's, once there is a recording: the address is said before.
    unsigned post(const std::string& what, const nlohmann::json& body) const {
        unsigned status = 503;
        for (int k = 0; k < 200 && status == 503; ++k) {
            if (k > 0) std::this_thread::sleep_for(std::chrono::milliseconds(50));
            status = ask("POST", "/api/live/" + what, body.dump()).status;
        }
        return status;
    }
    /// Of one in a ground test of the vehicle.
    unsigned act(const std::string& what, nlohmann::json body) const {
        body["vehicle"] = "sanderling";
        body["by"] = "KL";
        return post(what, body);
    }
    /// Waits until the recording tells of the event so many times.
    [[nodiscard]] bool told(const std::string& event, const std::string& step, std::size_t times = 1) const {
        for (int k = 0; k < 600; ++k, std::this_thread::sleep_for(std::chrono::milliseconds(50)))
            if (count(event, step) >= times) return true;
        return false;
    }
    [[nodiscard]] std::size_t count(const std::string& event, const std::string& step) const {
        const HttpReply reply = http_request(port_, "GET", "/api/recordings/live/events");
        if (reply.status != 200) return 0;
        std::size_t found = 0;
        const nlohmann::json events = reply.json().at("events"); // of a temporary, a loop would read what is gone
        for (const nlohmann::json& each : events)
            found += each.at("event") == event && (step.empty() || each.at("data").value("step", "") == step);
        return found;
    }
    [[nodiscard]] std::uint16_t port() const { return port_; }
    /// Any request of the operator's.
    [[nodiscard]] HttpReply ask(const std::string& method, const std::string& target, const std::string& body = "",
                                const std::string& type = "application/json") const {
        Fields fields{{"Content-Type", type}};
        fields.insert(fields.end(), cookie_.begin(), cookie_.end());
        return http_request(port_, method, target, fields, body);
    }
    void kill() {
        server_.signal(SIGKILL);
        CHECK(server_.wait(std::chrono::seconds(5)) == 128 + SIGKILL);
    }
    void end() {
        server_.signal(SIGTERM);
        CHECK(server_.wait(std::chrono::seconds(30)) == 0);
    }

  private:
    Child server_;
    std::uint16_t port_ = 0;
    Fields cookie_;
};

} // namespace turnstone::test
