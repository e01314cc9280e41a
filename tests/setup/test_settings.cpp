// The settings file: JSON (RFC 8259) with comments, mistakes at their JSON Pointer (RFC 6901). The command line and the
// example file come from the same table.
#include "server/setup/settings.hpp"

#include <algorithm>
#include <cstdlib>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

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

TEST_CASE("The example settings file is what the table makes") {
    INFO("after a change to the table: cmake --build build/release --target example_settings");
    CHECK(read_file(demo_path("turnstone.json")) == example_settings());
}

TEST_CASE("The example settings file reads without a mistake and sets the defaults") {
    std::vector<Problem> problems;
    Settings settings;
    read_settings_file(demo_path("turnstone.json"), settings, problems);
    complete_settings(settings, "turnstone.json", problems);
    CHECK(to_string(problems).empty());
    CHECK(settings.vehicles == std::vector{demo_path("sanderling")});
    CHECK(settings.site == demo_path("site.json"));
    CHECK(settings.links.size() == 1);
    const Settings defaults;
    CHECK(settings.commit_interval_ms == defaults.commit_interval_ms);
    CHECK(settings.sync_every_commit == defaults.sync_every_commit);
    CHECK(settings.listen_address == defaults.listen_address);
    CHECK(settings.port == defaults.port);
    CHECK(settings.share == defaults.share);
    CHECK(settings.operator_key == defaults.operator_key);
    CHECK(settings.operator_key_file == defaults.operator_key_file);
    CHECK(settings.viewers_max == defaults.viewers_max);
    CHECK(settings.host_names == defaults.host_names);
    CHECK(settings.recordings == demo_path() / defaults.recordings);
}

TEST_CASE("The packaged settings file reads without a mistake") {
    std::vector<Problem> problems;
    const auto path = source_path("tools/package/turnstone.json");
    Settings settings;
    read_settings_file(path, settings, problems);
    complete_settings(settings, path.string(), problems);
    CHECK(to_string(problems).empty());
    CHECK(settings.recordings == "/var/lib/turnstone/recordings");
    CHECK(settings.operator_key_file == "/var/lib/turnstone/operator_key");
}

TEST_CASE("Every setting in the example that is a comment reads without a mistake once it is none") {
    std::string text = example_settings();
    std::size_t uncommented = 0;
    for (std::size_t at = 0; (at = text.find("// \"", at)) != std::string::npos; ++uncommented) text.erase(at, 3);
    const std::size_t key = text.find("\"...\"");
    REQUIRE(key != std::string::npos);
    text.replace(key, 5, "\"a key of 20 letters.\"");
    std::vector<Problem> problems;
    const auto json = parse_json_text(text, "turnstone.json", problems, JsonComments::allowed);
    INFO(text);
    REQUIRE(json);
    Settings settings;
    read_settings(*json, "turnstone.json", settings, problems);
    CHECK(to_string(problems).empty());
    CHECK(uncommented == 8);
    CHECK(settings.publish_as == "hill");
    CHECK(settings.broker_password == "...");
    CHECK(settings.live_out == std::vector<std::string>{"udp://127.0.0.1:10110?position_of=sanderling"});
    CHECK(settings.listen_address == "192.168.1.20");
    CHECK(settings.operator_key == "a key of 20 letters.");
    CHECK(settings.operator_key_file == "operator_key");
    complete_settings(settings, "turnstone.json", problems);
    CHECK(pointers_of(problems) == std::vector<std::string>{"/operator_key_file"});
}

TEST_CASE("Mistakes in a settings file are reported where they are") {
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
        Settings settings;
        read_settings(nlohmann::json::parse(one.json), "turnstone.json", settings, problems);
        INFO(to_string(problems));
        CHECK(pointers_of(problems) == one.pointers);
    }
}

TEST_CASE("An option replaces what the file set, and what no option names stays") {
    std::vector<Problem> problems;
    Settings settings;
    read_settings(nlohmann::json::parse(R"({"vehicles": ["a"], "site": "s.json", "port": 1, "viewers_max": 2,
                                            "links": ["tcp://tracker:7"], "sync_every_commit": true})"),
                  "/etc/turnstone.json", settings, problems);
    read_options({{"--vehicle", {"b", "c"}},
                  {"--port", {"9"}},
                  {"--link", {"udp://0.0.0.0:1", "udp://0.0.0.0:2"}},
                  {"--sync-every-commit", {"false"}},
                  {"--share", {"true"}},
                  {"--host-name", {"station"}},
                  {"--recordings", {"kept"}},
                  {"--listen", {}}},
                 settings, problems);
    CHECK(to_string(problems).empty());
    CHECK(settings.vehicles == std::vector<std::filesystem::path>{"b", "c"});
    CHECK(settings.site == "/etc/s.json");
    CHECK(settings.port == 9);
    CHECK(settings.viewers_max == 2);
    REQUIRE(settings.links.size() == 2);
    CHECK(settings.links[1].text == "udp://0.0.0.0:2");
    CHECK_FALSE(settings.sync_every_commit);
    CHECK(settings.share);
    CHECK(settings.host_names == std::vector<std::string>{"station"});
    CHECK(settings.recordings == "kept");
    CHECK(settings.listen_address.empty());
}

TEST_CASE("A mistake on the command line names its option") {
    struct Case {
        const char* option;
        const char* value;
        const char* wrong;
    };
    const Case cases[] = {
        {"--port", "70000", "is 70000"},
        {"--port", "8321x", "is the text \"8321x\""},
        {"--port", "", "is the text \"\""},
        {"--viewers-max", "0", "is 0"},
        {"--sync-every-commit", "yes", "is the text \"yes\""},
        {"--link", "usb:x", "link \"usb:x\""},
        {"--vehicle", "", "is the text \"\""},
    };
    for (const Case& one : cases) {
        INFO(one.option << " " << one.value);
        std::vector<Problem> problems;
        Settings settings;
        read_options({{one.option, {one.value}}}, settings, problems);
        REQUIRE(problems.size() == 1);
        CHECK(problems.front().file == "command line");
        CHECK(problems.front().pointer == one.option);
        CHECK_THAT(problems.front().wrong, Catch::StartsWith(one.wrong));
    }
}

TEST_CASE("Settings that cannot be meant together are reported") {
    struct Case {
        bool share;
        const char* listen_address;
        std::vector<std::string> links;
        std::vector<std::string> pointers;
        bool exit_at_end = false;
    };
    const Case cases[] = {
        {false, "", {}, {}},
        {true, "192.168.1.20", {"file:a?pace=9600", "file:b?pace=9600"}, {}},
        {false, "localhost", {}, {"/listen_address"}},
        {true, "127.0.0.1", {}, {"/share"}},
        {false, "", {"file:a?name=x&pace=9600", "file:b?name=x&pace=9600"}, {"/links"}},
        // A capture at full speed has a time of its own.
        {false, "", {"file:a"}, {}},
        {false, "", {"file:a", "udp://0.0.0.0:9000"}, {"/links"}},
        {false, "", {"file:a", "file:b"}, {"/links", "/links"}},
        // Only files end.
        {false, "", {"file:a"}, {}, true},
        {false, "", {"file:a?pace=9600", "file:b?pace=9600"}, {}, true},
        {false, "", {"file:a?pace=9600", "udp://0.0.0.0:9000"}, {"/exit_at_end"}, true},
        {false, "", {}, {"/exit_at_end"}, true},
    };
    for (const Case& one : cases) {
        Settings settings;
        for (const std::string& text : one.links) settings.links.push_back(parse_link_uri(text).value());
        settings.share = one.share;
        settings.listen_address = one.listen_address;
        settings.exit_at_end = one.exit_at_end;
        std::vector<Problem> problems;
        complete_settings(settings, "turnstone.json", problems);
        INFO(to_string(problems));
        CHECK(pointers_of(problems) == one.pointers);
    }
}

TEST_CASE("Links from a broker get where it is and how to get in, from the settings or the environment") {
    const auto completed = [](Settings settings, const std::vector<std::string>& expected) {
        settings.links = {parse_link_uri("broker:hill/radio").value(), parse_link_uri("udp://0.0.0.0:9000").value()};
        std::vector<Problem> problems;
        complete_settings(settings, "turnstone.json", problems);
        INFO(to_string(problems));
        CHECK(pointers_of(problems) == expected);
        return std::get<BrokerSource>(settings.links[0].source);
    };
    Settings settings;
    (void)completed(settings, {"/links"});
    settings.publish_as = "Hill";
    (void)completed(settings, {"/publish_as", "/publish_as", "/links"});
    settings.publish_as = "pad";
    settings.broker = "mqtt:x";
    (void)completed(settings, {"/broker"});
    settings.broker = "mqtts://broker.example:8883";
    settings.broker_user = "pad";
    ::setenv("TURNSTONE_BROKER_USER", "other", 1);
    ::setenv("TURNSTONE_BROKER_PASSWORD", "secret", 1);
    const BrokerSource source = completed(settings, {});
    ::unsetenv("TURNSTONE_BROKER_USER");
    ::unsetenv("TURNSTONE_BROKER_PASSWORD");
    CHECK(source.access.place() == "broker.example:8883");
    CHECK(source.access.tls);
    CHECK(source.access.user == "pad");
    CHECK(source.access.password == "secret");
    // The broker knows the link again at the next start, and from those of other folders.
    CHECK(source.client == completed(settings, {}).client);
    settings.recordings = "elsewhere";
    CHECK(source.client != completed(settings, {}).client);
    CHECK(completed(settings, {}).access.password.empty());
}

TEST_CASE("A shared server listens on every interface, any other on this machine only, unless an address is given") {
    struct Case {
        bool share;
        const char* listen_address;
        const char* bind_address;
        bool loopback_only;
    };
    const Case cases[] = {
        {false, "", "127.0.0.1", true},
        {true, "", "0.0.0.0", false},
        {false, "192.168.1.20", "192.168.1.20", false},
        {true, "192.168.1.20", "192.168.1.20", false},
        {false, "::1", "::1", true},
    };
    for (const Case& one : cases) {
        Settings settings;
        settings.share = one.share;
        settings.listen_address = one.listen_address;
        INFO(one.share << " " << one.listen_address);
        CHECK(settings.bind_address() == one.bind_address);
        CHECK(settings.loopback_only() == one.loopback_only);
    }
}

TEST_CASE("The help of links is made from the forms that their reader knows") {
    const auto table = settings_table();
    const auto links = std::find_if(table.begin(), table.end(), [](const Setting& one) { return one.key == "links"; });
    REQUIRE(links != table.end());
    CHECK(option_help(*links).find(link_forms_help()) != std::string::npos);
    CHECK(option_help(*links).find(framing_help()) != std::string::npos);
    CHECK(example_settings().find("//   udp://ADDRESS:PORT       (0.0.0.0 listens") != std::string::npos);
}
