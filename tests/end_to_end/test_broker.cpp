// Two stations that meet at a real broker, which is killed while they do: every byte that the one receives is in the
// recording of the other, once and in order.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <memory>
#include <string>
#include <thread>

#include "tests/end_to_end/broker.hpp"
#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

std::string bytes_in(const std::filesystem::path& recording) {
    std::string bytes;
    Database(recording).query("SELECT bytes FROM chunk ORDER BY input", [&](sqlite3_stmt* row) {
        bytes.append(static_cast<const char*>(sqlite3_column_blob(row, 0)),
                     static_cast<std::size_t>(sqlite3_column_bytes(row, 0)));
    });
    return bytes;
}

template <class Holds>
bool within(std::chrono::seconds limit, Holds&& holds) {
    const auto until = std::chrono::steady_clock::now() + limit;
    while (!holds()) {
        if (std::chrono::steady_clock::now() > until) return false;
        std::this_thread::sleep_for(200ms);
    }
    return true;
}

} // namespace

TEST_CASE("A broker that is killed costs another station nothing of what the first one receives") {
    const std::string version = GENERATE("5", "3.1.1");
    INFO("MQTT " << version);
    const TemporaryFolder folder;
    const auto capture = folder.path() / "flight.bin";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "nominal", "--seed", "21", "--impairment", "rough", "--speed", "max", "--to",
                     "file:" + capture.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait(120s) == 0);
    const std::string flight = read_file(capture);

    Broker broker(folder);
    const std::string uri = "mqtt://127.0.0.1:" + broker.port + "?version=" + version;
    // The one has its name and its password from a settings file, the other from the environment.
    std::ofstream(folder.path() / "mirror.json")
        << R"({"broker": ")" << uri << R"(", "broker_user": ")" << kUser << R"(", "broker_password": ")" << kPassword
        << R"(", "links": ["broker:pad/radio?name=pad"]})";
    const auto station = [&](const std::string& name, std::vector<std::string> arguments) {
        arguments.insert(arguments.begin(),
                         {program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
                          demo_path("site.json"), "--port", "0", "--recordings", (folder.path() / name).string()});
        return std::make_unique<Child>(arguments, folder.path() / (name + ".log"));
    };
    const auto mirror = station("mirror", {"--config", (folder.path() / "mirror.json").string()});
    INFO(mirror->output());
    REQUIRE(mirror->wait_for("(Link pad: open)$", 20s));
    ::setenv("TURNSTONE_BROKER_USER", kUser.c_str(), 1);
    ::setenv("TURNSTONE_BROKER_PASSWORD", kPassword.c_str(), 1);
    const auto pad = station("pad", {"--broker", uri, "--publish-as", "pad", "--link",
                                     "file:" + capture.string() + "?name=radio&pace=230400"});
    ::unsetenv("TURNSTONE_BROKER_USER");
    ::unsetenv("TURNSTONE_BROKER_PASSWORD");
    REQUIRE(pad->wait_for("(Recording 2)", 20s));

    const auto received = [&] {
        return Database(recording_in(folder.path() / "mirror")).integer("SELECT sum(length(bytes)) FROM chunk");
    };
    REQUIRE(within(20s, [&] { return received() > 20'000; }));
    broker.kill();
    REQUIRE(pad->wait_for("(Publishing: the broker 127.0.0.1)", 30s));
    broker.start();
    REQUIRE(pad->wait_for("(Publishing works)", 60s));
    const auto size = static_cast<std::int64_t>(flight.size());
    const bool all_came = within(90s, [&] { return received() >= size; });
    CHECK(all_came);

    for (const auto& [name, process] : {std::pair{"pad", pad.get()}, std::pair{"mirror", mirror.get()}}) {
        process->signal(SIGINT);
        INFO(name << ": " << process->output());
        CHECK(process->wait(30s) == 0);
    }
    const auto sent = recording_in(folder.path() / "pad"), came = recording_in(folder.path() / "mirror");
    CHECK(bytes_in(sent) == flight);
    CHECK(bytes_in(came) == flight);
    {
        Database recorded(came);
        // Both stations have the same clock: messages take no time to speak of, and none arrives before it is sent.
        const double lead_s = recorded.real("SELECT clock_lead_s FROM link_pad ORDER BY t_s DESC LIMIT 1");
        CHECK(lead_s > 0);
        CHECK(lead_s < 0.5);
        CHECK(recorded.integer("SELECT count(*) FROM event WHERE event = 'site_clock_off'") == 0);
        CHECK(Database(sent).integer("SELECT count(*) FROM event WHERE event = 'publishing_trouble'") == 2);
        const std::string packets = "SELECT count(*) FROM frame WHERE packet_verdict = 0";
        CHECK(recorded.integer(packets) == Database(sent).integer(packets));
    }
    for (const char* name : {"pad", "mirror"}) {
        Child verify({program_path("turnstone"), "verify", recording_in(folder.path() / name).string()},
                     folder.path() / "verify.log");
        const auto verified = verify.wait(120s);
        INFO(verify.output());
        CHECK(verified == 0);
        // Neither log nor recording says how to get in.
        CHECK(read_file(folder.path() / (std::string(name) + ".log")).find(kPassword) == std::string::npos);
        CHECK(read_file(recording_in(folder.path() / name)).find(kPassword) == std::string::npos);
    }
}
