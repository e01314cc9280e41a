// A whole flight through the real thing: simulator -> pseudo-terminal -> server -> file, with losses, bit errors,
// duplicates, reordering and fades. Then every packet is accounted for against the simulator's own manifest, every byte
// is in the file, and the stored inputs give the stored rows again.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <string>
#include <thread>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/end_to_end/manifest.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

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

    const Manifest manifest(manifest_path);
    REQUIRE(manifest.packets.size() > 5000);
    Database database(only_recording(recordings));
    CHECK(database.text("PRAGMA integrity_check") == "ok");
    CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");

    auto fates = check_accounted(database, manifest);
    // The link was bad in every way it can be, or the test shows less than it says.
    CHECK(fates["delivered"] > 1000);
    CHECK(fates["lost"] > 100);
    CHECK(fates["corrupted"] > 10);
    CHECK(fates["duplicate"] > 0);
    CHECK(fates["bad_frame"] > 10);
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
