// A capture at full speed through the real server: it ends by itself, with every byte recorded and a tape as long as
// the flight, whatever the losses.
#include <catch2/catch.hpp>

#include <chrono>
#include <string>

#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;

TEST_CASE("A capture read at full speed is recorded with the flight's own time, and the server ends by itself") {
    const TemporaryFolder folder;
    const auto capture = folder.path() / "flight.bin";
    const auto recordings = folder.path() / "recordings";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "nominal", "--seed", "21", "--impairment", "rough", "--speed", "max", "--to",
                     "file:" + capture.string()},
                    folder.path() / "simulate.log");
    const auto simulated = simulator.wait(120s);
    INFO(simulator.output());
    REQUIRE(simulated == 0);
    Child server({program_path("turnstone"), "serve", "--vehicle", demo_path("sanderling"), "--site",
                  demo_path("site.json"), "--link", "file:" + capture.string() + "?name=capture", "--port", "0",
                  "--recordings", recordings.string(), "--exit-at-end"},
                 folder.path() / "server.log");
    const auto served = server.wait(120s);
    INFO(server.output());
    REQUIRE(served == 0);
    CHECK(server.output().find("Link capture: end of file") != std::string::npos);

    std::filesystem::path file;
    for (const auto& entry : std::filesystem::directory_iterator(recordings))
        if (entry.path().extension() == ".sqlite") file = entry.path();
    REQUIRE(!file.empty());
    {
        Database database(file);
        CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "clean");
        CHECK(database.integer("SELECT sum(length(bytes)) FROM chunk") ==
              static_cast<std::int64_t>(std::filesystem::file_size(capture)));
        const auto events = [&](const std::string& key) {
            return database.integer("SELECT count(*) FROM event WHERE key = '" + key + "'");
        };
        CHECK(events("sanderling/flight/liftoff") == 1);
        CHECK(events("sanderling/flight/touchdown") == 1);
        CHECK(events("sanderling/reboot") == 0);
        CHECK(events("link/capture/trouble") == 0);
        // The demo's flight takes a minute and more; the capture was read in less.
        const auto event_s = [&](const std::string& name) {
            return database.real("SELECT t_ns * 1e-9 FROM event WHERE key = 'sanderling/flight/" + name + "'");
        };
        CHECK(event_s("touchdown") - event_s("liftoff") > 30);
    }
    Child verify({program_path("turnstone"), "verify", file.string()}, folder.path() / "verify.log");
    const auto verified = verify.wait(120s);
    INFO(verify.output());
    CHECK(verified == 0);
}

TEST_CASE("The demo's captures of lines and of binary frames are read whole by the command that their page names") {
    struct Example {
        std::string vehicle, capture, framing, rows;
        std::int64_t count;    ///< of those rows
        std::string maximum_m; ///< maximum altitude, in SQL
        double truth_m;        ///< of tools/demo/captures.py, which says both
    };
    const auto example =
        GENERATE(Example{"plover", "flight.txt", "framing=text&checksum=xor", "plover_line", 586,
                         "SELECT max(altitude_m) FROM plover_estimate_vertical", 341.0},
                 Example{"whimbrel", "flight.bin", "framing=binary&sync=EB90&length=1&crc=CRC-16/IBM-3740",
                         "whimbrel_fix", 300, "SELECT max(height_msl) FROM whimbrel_fix", 2101.2});
    INFO(example.vehicle);
    const TemporaryFolder folder;
    const auto recordings = folder.path() / "recordings";
    const std::string capture = demo_path(example.vehicle + "/" + example.capture);
    Child server({program_path("turnstone"), "serve", "--vehicle", demo_path(example.vehicle), "--site",
                  demo_path("site.json"), "--link", "file:" + capture + "?" + example.framing, "--port", "0",
                  "--recordings", recordings.string(), "--exit-at-end"},
                 folder.path() / "server.log");
    const auto served = server.wait(120s);
    INFO(server.output());
    REQUIRE(served == 0);
    std::filesystem::path file;
    for (const auto& entry : std::filesystem::directory_iterator(recordings))
        if (entry.path().extension() == ".sqlite") file = entry.path();
    REQUIRE(!file.empty());
    {
        Database database(file);
        CHECK(database.integer("SELECT count(*) FROM " + example.rows) == example.count);
        CHECK(database.real(example.maximum_m) == Approx(example.truth_m).margin(10));
        if (example.vehicle == "plover")
            for (const char* event : {"liftoff", "apogee", "touchdown"}) {
                INFO(event);
                CHECK(database.integer(std::string("SELECT count(*) FROM event WHERE event = '") + event + "'") == 1);
            }
    }
    Child verify({program_path("turnstone"), "verify", file.string()}, folder.path() / "verify.log");
    const auto verified = verify.wait(120s);
    INFO(verify.output());
    CHECK(verified == 0);
}
