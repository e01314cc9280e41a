#include "server/setup/serve_setup.hpp"

#include <catch2/catch.hpp>

#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Settings demo_settings(const std::vector<std::string>& links) {
    Settings out;
    out.vehicles = {demo_path("sanderling")};
    out.site = demo_path("site.json");
    for (const std::string& text : links) out.links.push_back(parse_link_uri(text).value());
    return out;
}

} // namespace

TEST_CASE("A link carries the vehicle it names, else the first") {
    std::vector<Problem> problems;
    const auto setup =
        read_setup(demo_settings({"udp://0.0.0.0:9000", "udp://0.0.0.0:9001?vehicle=sanderling"}), problems);
    CHECK(to_string(problems).empty());
    REQUIRE(setup);
    REQUIRE(setup->pipeline->links.size() == 2);
    CHECK(setup->pipeline->links[0].name == "udp");
    CHECK(setup->pipeline->links[1].name == "udp-2");
    CHECK(setup->pipeline->links[1].vehicle == 0);
    CHECK(setup->uris[1].name == "udp-2");
    CHECK(setup->pipeline->site_json == read_file(demo_path("site.json")));
}

TEST_CASE("A link that says itself what it brings needs no vehicle folder, or one without a dictionary") {
    const TemporaryFolder folder;
    std::vector<Problem> problems;
    Settings settings = demo_settings({"udp://0.0.0.0:9000", "udp://0.0.0.0:9001?framing=nmea&vehicle=boat",
                                       "udp://0.0.0.0:9002?framing=text&names=time_ms,alt_m&vehicle=proto"});
    settings.vehicles.push_back(folder.path());
    folder.write("vehicle.json", R"({"name": "boat", "engine_running_threshold_rpm": 500})");
    const auto setup = read_setup(settings, problems);
    CHECK(to_string(problems).empty());
    REQUIRE(setup);
    const auto& vehicles = setup->pipeline->vehicles;
    REQUIRE(vehicles.size() == 3);
    CHECK(vehicles[1].dictionary.vehicle == "boat");
    CHECK(vehicles[1].vehicle.engine_running_threshold_rpm == 500);
    CHECK(vehicles[1].dictionary.packets.front().name == "fix");
    CHECK(vehicles[2].dictionary.vehicle == "proto");
    CHECK(vehicles[2].dictionary.tables.front().channels.size() == 2);
    for (const VehicleSetup& vehicle : vehicles)
        CHECK_FALSE(vehicle.dictionary_json.empty()); // goes into the recording
    // Not even a vehicle.
    Settings alone;
    alone.site = demo_path("site.json");
    alone.links.push_back(parse_link_uri("udp://0.0.0.0:9001?framing=nmea").value());
    const auto receiver = read_setup(alone, problems);
    CHECK(to_string(problems).empty());
    REQUIRE(receiver);
    CHECK(receiver->pipeline->vehicles.front().dictionary.vehicle == "receiver");
}

TEST_CASE("The columns of a capture of lines are those of its header") {
    const TemporaryFolder folder;
    const auto file = folder.write("log.csv", "# made by hand\ntime_ms,Alt (m),state\n0,1.5,idle\n");
    Settings settings;
    settings.site = demo_path("site.json");
    settings.links.push_back(parse_link_uri("file:" + file.string() + "?framing=text").value());
    std::vector<Problem> problems;
    const auto setup = read_setup(settings, problems);
    CHECK(to_string(problems).empty());
    REQUIRE(setup);
    const auto& channels = setup->pipeline->vehicles.front().dictionary.tables.front().channels;
    REQUIRE(channels.size() == 3);
    CHECK(channels[1].name == "alt_m");
    CHECK(channels[2].is_text());
}

TEST_CASE("What a server cannot start from is reported, each mistake by itself") {
    struct Case {
        const char* what;
        void (*spoil)(Settings&);
        const char* message;
    };
    const Case cases[] = {
        {"no vehicle", [](Settings& s) { s.vehicles.clear(); }, "settings: /vehicles: no vehicle is given"},
        {"no site", [](Settings& s) { s.site.clear(); }, "settings: /site: no site is given"},
        {"one vehicle twice", [](Settings& s) { s.vehicles.push_back(s.vehicles.front()); },
         "dictionary.json: /vehicle: \"sanderling\" is given twice"},
        {"a link of an unknown vehicle",
         [](Settings& s) { s.links.push_back(parse_link_uri("udp://0.0.0.0:9000?vehicle=boat").value()); },
         "names the unknown vehicle boat; expected one of the vehicles given: sanderling"},
        {"a folder that is not there", [](Settings& s) { s.vehicles = {"/nowhere"}; },
         "/nowhere/vehicle.json: (whole file): "},
        {"a framing that does not exist",
         [](Settings& s) { s.links.push_back(parse_link_uri("udp://0.0.0.0:9000?framing=morse").value()); },
         "expected cobs, nmea, text, binary, hdlc, slip, kiss, tm, packets"},
        {"sentences for a packet that has more than they say",
         [](Settings& s) { s.links.push_back(parse_link_uri("udp://0.0.0.0:9000?framing=nmea").value()); },
         "fix.velocity_up: is a column that no sentence fills"},
        {"lines without names for a vehicle without a folder",
         [](Settings& s) {
             s.links.push_back(parse_link_uri("udp://0.0.0.0:9000?framing=text&vehicle=proto").value());
         },
         "names the unknown vehicle proto"},
        {"an end that never comes",
         [](Settings& s) {
             s.exit_at_end = true;
             s.links = {parse_link_uri("file:/nowhere/capture.bin").value()};
         },
         "settings: /links: file:/nowhere/capture.bin cannot be read, and exit_at_end would wait for it"},
        {"a contradiction", [](Settings& s) { s.listen_address = "localhost"; }, "settings: /listen_address: "},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        Settings settings = demo_settings({});
        one.spoil(settings);
        std::vector<Problem> problems;
        CHECK_FALSE(read_setup(settings, problems));
        CHECK_THAT(to_string(problems), Catch::Contains(one.message));
    }
}
