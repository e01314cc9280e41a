// The settings file: JSON (RFC 8259) with comments, mistakes at their JSON Pointer (RFC 6901).
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/setup/serve_setup.hpp"
#include "server/setup/settings.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::vector<std::string> pointers_of(const std::vector<Problem>& problems) {
    std::vector<std::string> out;
    for (const Problem& problem : problems) out.push_back(problem.pointer);
    return out;
}

} // namespace

TEST_CASE("The documented settings file reads without a mistake and states the defaults") {
    std::vector<Problem> problems;
    const Config config = read_config_file(demo_path("turnstone.json"), problems);
    CHECK(to_string(problems).empty());
    const Config defaults;
    CHECK(config.commit_interval_ms == defaults.commit_interval_ms);
    CHECK(config.sync_every_commit == defaults.sync_every_commit);
    CHECK(config.listen_address == defaults.listen_address);
    CHECK(config.port == defaults.port);
    CHECK(config.share == defaults.share);
    CHECK(config.viewers_max == defaults.viewers_max);
    CHECK(config.host_names == defaults.host_names);
    CHECK(config.recordings == demo_path() / defaults.recordings);
    check_config(config, "turnstone.json", problems);
    CHECK(to_string(problems).empty());
}

TEST_CASE("The packaged settings file reads without a mistake") {
    std::vector<Problem> problems;
    const auto path = source_path("tools/package/turnstone.json");
    const Config config = read_config_file(path, problems);
    check_config(config, path.string(), problems);
    CHECK(to_string(problems).empty());
    CHECK(config.recordings == "/var/lib/turnstone/recordings");
}

TEST_CASE("Every setting is named in the documented file") {
    std::vector<Problem> problems;
    const nlohmann::json odd = {{"no_such_setting", 1}};
    (void)read_config(odd, "turnstone.json", problems);
    REQUIRE(problems.size() == 1);
    CHECK(problems.front().pointer == "/no_such_setting");
    const std::string text = read_text_file(demo_path("turnstone.json")).value();
    // The report lists what is known.
    std::istringstream known(problems.front().right.substr(problems.front().right.find(':') + 1));
    std::size_t count = 0;
    for (std::string name; known >> name;) {
        if (name != "$schema") {
            INFO(name);
            CHECK(text.find("\"" + name + "\"") != std::string::npos);
            ++count;
        }
    }
    CHECK(count == 12);
}

TEST_CASE("Mistakes in settings are reported where they are") {
    struct Case {
        const char* json;
        std::vector<std::string> pointers;
    };
    const Case cases[] = {
        {R"({})", {}},
        {R"({"port": 70000})", {"/port"}},
        {R"({"port": "8321"})", {"/port"}},
        {R"({"commit_interval_ms": 500, "share": "yes"})", {"/commit_interval_ms", "/share"}},
        {R"({"links": ["serial:/dev/x", "serial:/dev/x?baud=1"]})", {"/links/1"}},
        {R"({"links": "serial:/dev/x"})", {"/links"}},
        {R"({"vehicles": [""]})", {"/vehicles/0"}},
        {R"({"vehicles": [3]})", {"/vehicles/0"}},
        {R"({"site": ""})", {"/site"}},
        {R"({"viewers_max": 0})", {"/viewers_max"}},
        {R"({"operator_key": "short"})", {"/operator_key"}},
        {R"({"prot": 1})", {"/prot"}},
        {R"([])", {""}},
    };
    for (const Case& one : cases) {
        INFO(one.json);
        std::vector<Problem> problems;
        (void)read_config(nlohmann::json::parse(one.json), "turnstone.json", problems);
        INFO(to_string(problems));
        CHECK(pointers_of(problems) == one.pointers);
    }
}

TEST_CASE("Settings that cannot be meant together are reported") {
    Config good;
    good.vehicles = {"a"};
    good.site = "site.json";
    const auto problems_after = [&good](auto&& change) {
        Config config = good;
        change(config);
        std::vector<Problem> problems;
        check_config(config, "command line", problems);
        return pointers_of(problems);
    };
    using Pointers = std::vector<std::string>;
    CHECK(problems_after([](Config&) {}) == Pointers{});
    CHECK(problems_after([](Config& c) { c.vehicles.clear(); }) == Pointers{"/vehicles"});
    CHECK(problems_after([](Config& c) { c.site.clear(); }) == Pointers{"/site"});
    CHECK(problems_after([](Config& c) { c.listen_address = "localhost"; }) == Pointers{"/listen_address"});
    CHECK(problems_after([](Config& c) {
              c.share = true;
              c.listen_address = "127.0.0.1";
          }) == Pointers{"/share"});
    CHECK(problems_after([](Config& c) { c.links = {"file:a?name=x", "file:b?name=x"}; }) == Pointers{"/links"});
    CHECK(problems_after([](Config& c) { c.links = {"usb:a"}; }) == Pointers{"/links/0"});
    good.share = true;
    CHECK(good.bind_address() == "0.0.0.0");
    good.share = false;
    CHECK(good.bind_address() == "127.0.0.1");
}

TEST_CASE("A link carries the vehicle it names, else the first") {
    Config config;
    config.vehicles = {demo_path("sanderling")};
    config.site = demo_path("site.json");
    config.links = {"udp://0.0.0.0:9000", "udp://0.0.0.0:9001?vehicle=sanderling"};
    std::vector<Problem> problems;
    const auto setup = read_setup(config, problems);
    CHECK(to_string(problems).empty());
    REQUIRE(setup);
    REQUIRE(setup->pipeline->links.size() == 2);
    CHECK(setup->pipeline->links[0].name == "udp");
    CHECK(setup->pipeline->links[1].name == "udp-2");
    CHECK(setup->pipeline->links[1].vehicle == 0);
    CHECK(setup->pipeline->site.name == "Lantern Flat");

    config.links = {"udp://0.0.0.0:9000?vehicle=boat"};
    CHECK_FALSE(read_setup(config, problems));
    CHECK_THAT(to_string(problems), Catch::Contains("unknown vehicle boat"));

    problems.clear();
    config.links.clear();
    config.vehicles.push_back(demo_path("sanderling"));
    CHECK_FALSE(read_setup(config, problems));
    CHECK_THAT(to_string(problems), Catch::Contains("given twice"));
}
