// A whole flight through the real thing: simulator -> pseudo-terminal -> server -> file, with losses, bit errors,
// duplicates, reordering and fades. Then every packet is accounted for against the simulator's own manifest, every byte
// is in the file, and the stored inputs give the stored rows again.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <fstream>
#include <map>
#include <string>
#include <thread>
#include <utility>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

struct Packet {
    std::string fate;
    int intact_copies;
    std::int64_t onboard_ms;
};

using Key = std::pair<int, int>; ///< APID, sequence count: unique within one flight

struct Manifest {
    nlohmann::json run;
    std::map<Key, Packet> packets;
};

Manifest read_manifest(const std::filesystem::path& path) {
    Manifest manifest;
    std::ifstream in(path);
    std::string line;
    while (std::getline(in, line)) {
        auto json = nlohmann::json::parse(line);
        if (json["kind"] == "run") {
            manifest.run = json;
        } else {
            manifest.packets[{json["apid"], json["sequence_count"]}] = {json["fate"], json["intact_copies"],
                                                                        json["onboard_ms"]};
        }
    }
    return manifest;
}

std::filesystem::path only_recording(const std::filesystem::path& directory) {
    std::filesystem::path found;
    for (const auto& entry : std::filesystem::directory_iterator(directory)) {
        INFO("a clean close leaves one file and nothing beside it: " << entry.path());
        REQUIRE(found.empty());
        found = entry.path();
    }
    REQUIRE(found.extension() == ".sqlite");
    return found;
}

} // namespace

TEST_CASE("Every packet of a flight over a bad link is in the recording or lost by a named cause") {
    const TemporaryFolder folder;
    const auto port = folder.path() / "radio";
    const auto recordings = folder.path() / "recordings";
    const auto manifest_path = folder.path() / "manifest.jsonl";
    Child simulator({program_path("simulate"),
                     "--vehicle",
                     demo_path("sanderling"),
                     "--site",
                     demo_path("site.json"),
                     "--scenario",
                     "nominal",
                     "--seed",
                     "21",
                     "--disperse",
                     "--impairment",
                     "rough",
                     "--before-ignition-s",
                     "8",
                     "--after-touchdown-s",
                     "4",
                     "--wait-s",
                     "60",
                     "--to",
                     "pty:" + port.string(),
                     "--manifest",
                     manifest_path.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait_for("sending to", 60s).has_value());
    Child server({program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
                  demo_path("site.json"), "--link", "serial:" + port.string() + "?baud=57600&name=radio", "--port", "0",
                  "--recordings", recordings.string()},
                 folder.path() / "server.log");
    REQUIRE(server.wait_for("listening on (http://[^ ]+)", 20s).has_value());
    const auto simulated = simulator.wait(280s);
    INFO(simulator.output());
    REQUIRE(simulated == 0);
    std::this_thread::sleep_for(1600ms); // what the terminal still holds, and the link's row of the second after it
    server.signal(SIGINT);
    const auto served = server.wait(20s);
    INFO(server.output());
    REQUIRE(served == 0);

    const Manifest manifest = read_manifest(manifest_path);
    REQUIRE(manifest.packets.size() > 5000);
    Database database(only_recording(recordings));
    CHECK(database.text("PRAGMA integrity_check") == "ok");
    CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");

    {
        INFO("every byte the link delivered is in the file, in order and without a hole");
        CHECK(database.integer("SELECT sum(length(bytes)) FROM chunk") ==
              manifest.run["bytes_delivered"].get<std::int64_t>());
        CHECK(database.integer("SELECT count(*) FROM chunk a WHERE stream_offset != "
                               "(SELECT coalesce(sum(length(bytes)), 0) FROM chunk b WHERE b.input < a.input)") == 0);
    }
    {
        INFO("a packet that arrived whole was accepted once and its duplicates were told apart; a damaged one "
             "never passed");
        struct Seen {
            int accepted = 0, duplicates = 0, other = 0;
            std::int64_t onboard_ns = 0;
        };
        std::map<Key, Seen> seen;
        std::int64_t bad_frames = 0;
        database.query(
            "SELECT f.apid, f.sequence_count, u.packet_verdict, f.onboard_ns FROM frame f JOIN frame_utc u USING (id)",
            [&](sqlite3_stmt* row) {
                const std::string verdict = reinterpret_cast<const char*>(sqlite3_column_text(row, 2));
                if (verdict == "bad_frame") {
                    ++bad_frames;
                    return;
                }
                Seen& s = seen[{sqlite3_column_int(row, 0), sqlite3_column_int(row, 1)}];
                s.accepted += verdict == "accepted" || verdict == "late";
                s.duplicates += verdict == "duplicate";
                s.other += verdict == "undecodable" || verdict == "idle";
                s.onboard_ns = sqlite3_column_int64(row, 3);
            });
        std::map<std::string, int> fates;
        int expected_duplicates = 0;
        for (const auto& [key, packet] : manifest.packets) {
            INFO("APID " << key.first << " sequence count " << key.second << " " << packet.fate);
            ++fates[packet.fate];
            const Seen got = seen.contains(key) ? seen[key] : Seen{};
            CHECK(got.accepted == (packet.intact_copies > 0 ? 1 : 0));
            CHECK(got.duplicates == std::max(0, packet.intact_copies - 1));
            CHECK(got.other == 0);
            expected_duplicates += std::max(0, packet.intact_copies - 1);
            seen.erase(key);
        }
        CHECK(seen.empty()); // nothing that was never sent
        // The link was bad in every way it can be, or the test shows less than it says.
        CHECK(fates["delivered"] > 1000);
        CHECK(fates["lost"] > 100);
        CHECK(fates["corrupted"] > 10);
        CHECK(expected_duplicates > 0);
        CHECK(bad_frames > 10);
    }
    {
        INFO("what the link statistics counted is what the frames say");
        const std::string last = " FROM link_radio ORDER BY id DESC LIMIT 1";
        CHECK(database.integer("SELECT frames_good" + last) ==
              database.integer("SELECT count(*) FROM frame WHERE frame_verdict = 0"));
        CHECK(database.integer("SELECT bytes" + last) == database.integer("SELECT sum(length(bytes)) FROM chunk"));
    }
    {
        INFO("the flight is in it: phases in order, apogee where the simulator says");
        const double apogee_m = manifest.run["events"]["apogee_m"];
        CHECK(database.real("SELECT max(altitude_m) FROM sanderling_estimate_vertical") ==
              Approx(apogee_m).epsilon(0.02));
        std::string phases;
        database.query("SELECT key FROM event WHERE kind = 'phase' ORDER BY t_ns", [&](sqlite3_stmt* row) {
            const std::string key = reinterpret_cast<const char*>(sqlite3_column_text(row, 0));
            phases += key.substr(key.rfind('/') + 1) + " ";
        });
        CHECK(phases == "on_the_rail under_thrust coasting falling under_drogue under_main down ");
        const auto event_s = [&](const std::string& name) {
            return database.real("SELECT t_ns * 1e-9 FROM event WHERE key = 'sanderling/flight/" + name + "'");
        };
        const auto& truth = manifest.run["events"];
        CHECK(event_s("apogee") - event_s("liftoff") ==
              Approx(truth["apogee_s"].get<double>() - truth["liftoff_s"].get<double>()).margin(0.5));
        CHECK(event_s("touchdown") - event_s("liftoff") ==
              Approx(truth["touchdown_s"].get<double>() - truth["liftoff_s"].get<double>()).margin(2.5));
    }
    {
        INFO("reprocessing the stored inputs gives the stored rows again, bit for bit");
        Child verify({program_path("turnstone"), "verify", only_recording(recordings).string()},
                     folder.path() / "verify.log");
        const auto result = verify.wait(120s);
        INFO(verify.output());
        CHECK(result == 0);
    }
}
