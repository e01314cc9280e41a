// A debrief beside a flight: on one station an earlier flight is smoothed, identified, compared, joined with its
// on-board log and exported, as fast as the station does it, while another one is received. Every packet of that one
// is accounted for against the simulator's own manifest.
#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/database.hpp"
#include "tests/end_to_end/desk.hpp"
#include "tests/end_to_end/manifest.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;
using namespace std::chrono_literals;
using nlohmann::json;

namespace {

/// A logging flight whose fins turn, at 115200 baud.
std::vector<std::string> simulator(const std::string& seed, const std::string& impairment,
                                   const std::vector<std::string>& more) {
    std::vector<std::string> words{program_path("simulate"),
                                   "--vehicle",
                                   demo_path("dunlin"),
                                   "--site",
                                   demo_path("site.json"),
                                   "--steer",
                                   "log",
                                   "--before-ignition-s",
                                   "8",
                                   "--after-touchdown-s",
                                   "4",
                                   "--seed",
                                   seed,
                                   "--impairment",
                                   impairment};
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

void run(const std::vector<std::string>& words, const std::filesystem::path& output) {
    Child child(words, output);
    const auto ended = child.wait(280s);
    INFO(child.output());
    REQUIRE(ended == 0);
}

/// What people on the first evening left: the recording of a flight, in the desk's folder, and its on-board log.
std::string fly_before(const TemporaryFolder& folder) {
    const auto heard = folder.path() / "heard.bin";
    run(simulator("21", "mild", {"--speed", "max", "--to", "file:" + heard.string()}), folder.path() / "heard.log");
    run({program_path("turnstone"), "serve", "--vehicle", demo_path("dunlin"), "--site", demo_path("site.json"),
         "--link", "file:" + heard.string() + "?name=capture", "--exit-at-end", "--port", "0", "--recordings",
         (folder.path() / "recordings").string()},
        folder.path() / "recorded.log");
    const auto logged = folder.path() / "logged.bin";
    run(simulator("21", "clean", {"--speed", "max", "--to", "file:" + logged.string()}), folder.path() / "logged.log");
    std::ifstream in(logged, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

std::string begin(const Desk& desk, const json& job) {
    const HttpReply reply = desk.ask("POST", "/api/jobs", job.dump());
    INFO(job << ": " << reply.body);
    REQUIRE(reply.status == 202);
    return reply.json().at("id");
}

/// Looks at a job until `enough` or its end, and how far it was each time.
json watch(const Desk& desk, const std::string& id, std::vector<double>& fractions, const auto& enough) {
    for (;; std::this_thread::sleep_for(20ms)) {
        const json job = desk.ask("GET", "/api/jobs/" + id).json();
        fractions.push_back(job.at("fraction"));
        const std::string state = job.at("state");
        if (enough(job) || (state != "waiting" && state != "working")) return job;
    }
}

bool under_way(const json& job) {
    return job.at("state") == "working" && job.at("fraction") > 0 && job.at("fraction") < 1;
}

double counter(const Desk& desk, const std::string& name) {
    const std::string text = "\n" + desk.ask("GET", "/api/counters").body;
    const auto at = text.find("\n" + name + " ");
    INFO(name);
    REQUIRE(at != std::string::npos);
    return std::stod(text.substr(at + 1 + name.size()));
}

/// In pieces, as a browser brings it.
std::string upload(const Desk& desk, const std::string& log, const std::string& flight) {
    constexpr std::size_t kPiece = 65536;
    std::string key;
    for (std::size_t at = 0; at < log.size(); at += kPiece) {
        const std::string target = "/api/import/upload?at=" + std::to_string(at) +
                                   (key.empty() ? "" : "&upload=" + key) +
                                   (at + kPiece >= log.size() ? "&flight=" + flight : "");
        const HttpReply reply = desk.ask("POST", target, log.substr(at, kPiece), "application/octet-stream");
        INFO(target << ": " << reply.body);
        REQUIRE(reply.status == 200);
        key = reply.json().at("upload");
    }
    return key;
}

/// Recordings there are.
std::size_t recordings_in(const std::filesystem::path& folder) {
    std::size_t count = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder))
        count += entry.path().extension() == ".sqlite" && entry.path().filename().string().front() != '.';
    return count;
}

} // namespace

TEST_CASE("A debrief beside a flight costs no packet of it: jobs tell how far they are, end, and stop when asked") {
    const TemporaryFolder folder;
    const std::string log = fly_before(folder);
    const auto radio = folder.path() / "radio", manifest_path = folder.path() / "manifest.jsonl",
               recordings = folder.path() / "recordings";
    Child vehicle(simulator("22", "rough",
                            {"--wait-s", "60", "--to", "pty:" + radio.string(), "--manifest", manifest_path.string()}),
                  folder.path() / "simulate.log");
    REQUIRE(vehicle.wait_for("sending to", 60s).has_value());
    Desk desk(folder, radio, "dunlin", "?baud=115200&name=radio");
    REQUIRE(desk.post("marker", {{"text", "second evening"}}) == 200);

    // That of the first evening: what is received has a line of its own, and has not landed.
    std::string flight;
    for (int k = 0; k < 600 && flight.empty(); ++k, std::this_thread::sleep_for(50ms)) {
        const json book = desk.ask("GET", "/api/flights").json();
        for (const json& each : book.at("flights"))
            if (each.at("ended") == "touchdown") flight = each.at("id");
    }
    REQUIRE_FALSE(flight.empty());

    std::atomic<bool> over = false;
    std::size_t exports = 0;
    std::thread exporter([&] { // a person with another address, who takes the flight home in all formats
        const std::vector<std::string> formats{"csv", "jsonl", "npz", "hdf5", "kml", "geojson", "gpx"};
        for (std::size_t k = 0; !over; ++k)
            exports += http_request(desk.port(), "GET",
                                    "/api/flights/" + flight + "/export?format=" + formats[k % formats.size()], {}, "",
                                    kOneVisitor)
                           .status == 200;
    });
    const double bytes_before = counter(desk, "turnstone_link_bytes_total{link=\"radio\"}");
    const json law = json::parse(read_file(source_path("tests/fuzz/corpus/law/roll_damper.json")));
    const std::vector<json> jobs{
        {{"job", "response"}, {"flight", flight}},
        {{"job", "shadow"}, {"flight", flight}, {"law", law}, {"seeds", 100}},
        {{"job", "smooth"}, {"flight", flight}},
        {{"job", "performance"}, {"flight", flight}},
        {{"job", "compare"}, {"flights", {flight}}, {"align", "liftoff"}, {"prediction", true}},
    };
    const auto none = [](const json&) { return false; };
    std::optional<int> simulated;
    int rounds = 0;
    do {
        // One that is not wanted any more, and leaves nothing behind.
        const std::string key = upload(desk, log, flight);
        const json import{{"job", "import"},      {"flight", flight},   {"upload", key},
                          {"name", "logged.bin"}, {"mapping", nullptr}, {"align", "auto"}};
        const std::size_t files = recordings_in(recordings);
        std::vector<double> far;
        const std::string id = begin(desk, import);
        CHECK(under_way(watch(desk, id, far, under_way)));
        CHECK(desk.ask("DELETE", "/api/jobs/" + id).status == 200);
        const json stopped = watch(desk, id, far, none);
        CHECK(stopped.at("state") == "stopped");
        CHECK(recordings_in(recordings) == files);
        // All the others at once, as many as people may ask for, and the import again.
        std::vector<std::string> ids{begin(desk, import)};
        for (const json& job : jobs) ids.push_back(begin(desk, job));
        for (const std::string& each : ids) {
            std::vector<double> fractions;
            const json job = watch(desk, each, fractions, none);
            INFO(job.at("job") << ": " << job.at("error"));
            CHECK(job.at("state") == "done");
            CHECK(job.at("result").is_object());
            CHECK(std::ranges::is_sorted(fractions));
        }
        CHECK(recordings_in(recordings) == files + 1);
        ++rounds;
        simulated = vehicle.wait(0ms);
    } while (!simulated);
    const double bytes_after = counter(desk, "turnstone_link_bytes_total{link=\"radio\"}");
    over = true;
    exporter.join();
    INFO(vehicle.output());
    CHECK(simulated == 0);
    CHECK(bytes_after > bytes_before);
    CHECK(exports >= 7);
    std::this_thread::sleep_for(1600ms); // what the terminal still holds, and the link's row of the second after it
    for (const char* what : {"batches", "bytes", "rows"})
        CHECK(counter(desk, std::string("turnstone_recorder_dropped_") + what + "_total") == 0);
    CHECK(counter(desk, "turnstone_publish_dropped_total") == 0);
    desk.end();

    std::filesystem::path live;
    std::size_t files = 0;
    for (const auto& entry : std::filesystem::directory_iterator(recordings)) {
        if (entry.path().extension() != ".sqlite") continue;
        INFO(entry.path());
        Database database(entry.path());
        if (database.integer("SELECT count(*) FROM event WHERE text = 'second evening'") > 0) live = entry.path();
        ++files;
    }
    CHECK(files == static_cast<std::size_t>(rounds) + 2);
    REQUIRE_FALSE(live.empty());
    {
        Database database(live);
        auto fates = check_accounted(database, Manifest(manifest_path));
        CHECK(fates["delivered"] > 2000);
        CHECK(fates["lost"] > 100);
        CHECK(fates["bad_frame"] > 10);
    }
    run({program_path("turnstone"), "verify", live.string()}, folder.path() / "verify.log");
}
