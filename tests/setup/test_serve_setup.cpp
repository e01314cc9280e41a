#include "server/setup/serve_setup.hpp"

#include <catch2/catch.hpp>

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
         "/nowhere/dictionary.json: (whole file): "},
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
