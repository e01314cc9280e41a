// The format is that of protocol/schema/dictionary.schema.json. What the cases in tests/golden/dictionary say of the
// schema was judged by python3-jsonschema 4.26.
#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

#include "protocol/text/title.hpp"
#include "protocol/text/ucum.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

using Read = void (*)(const nlohmann::json&, std::vector<Problem>&);

/// Every case's problems are exactly the expected pointers, in any order.
int check_cases(const std::string& file, Read read) {
    const nlohmann::json golden = read_json(source_path("tests/golden/dictionary/" + file));
    const nlohmann::json base = read_json(source_path(golden["base"].get<std::string>()));
    int checked = 0;
    for (const auto& test_case : golden["cases"]) {
        INFO(file << ": " << test_case["name"]);
        std::vector<Problem> problems;
        read(base.patch(test_case["patch"]), problems);
        std::vector<std::string> pointers;
        for (const Problem& problem : problems) {
            pointers.push_back(problem.pointer);
            CHECK_FALSE(problem.wrong.empty());
            CHECK_FALSE(problem.right.empty());
        }
        auto expected = test_case["problems"].get<std::vector<std::string>>();
        std::sort(pointers.begin(), pointers.end());
        std::sort(expected.begin(), expected.end());
        INFO(to_string(problems));
        CHECK(pointers == expected);
        if (test_case["schema"] == "invalid") // whatever the schema refuses, the reader must refuse too
            CHECK_FALSE(problems.empty());
        ++checked;
    }
    return checked;
}

} // namespace

TEST_CASE("good and bad dictionaries give exactly their mistakes", "[dictionary]") {
    CHECK(check_cases(
              "dictionary_cases.json",
              [](const nlohmann::json& json, std::vector<Problem>& problems) {
                  (void)read_dictionary(json, "dictionary.json", problems);
              }) >= 189);
}

TEST_CASE("good and bad vehicles and sites give exactly their mistakes", "[dictionary]") {
    CHECK(check_cases(
              "vehicle_cases.json",
              [](const nlohmann::json& json, std::vector<Problem>& problems) {
                  (void)read_vehicle(json, "vehicle.json", problems);
              }) >= 15);
    CHECK(check_cases("site_cases.json", [](const nlohmann::json& json, std::vector<Problem>& problems) {
              (void)read_site(json, "site.json", problems);
          }) >= 12);
}

TEST_CASE("every role has its unit in the schema and a title of its own for people", "[dictionary]") {
    std::set<std::string_view> titles;
    const nlohmann::json role = read_json(source_path("protocol/schema/dictionary.schema.json"))["$defs"]["role"];
    REQUIRE(role["enum"].size() == kRoles.size());
    for (std::size_t i = 0; i < kRoles.size(); ++i) {
        CHECK(kRoles[i].role == static_cast<Role>(i));
        CHECK(role["enum"][i] == std::string(kRoles[i].name));
        CHECK(role["description"].get<std::string>().find(std::string(kRoles[i].name) + " " +
                                                          std::string(kRoles[i].unit)) != std::string::npos);
        CHECK((kRoles[i].unit.empty() || is_ucum_unit(kRoles[i].unit))); // none: of a text
        CHECK_FALSE(kRoles[i].title.empty());
        CHECK(kRoles[i].title.find('_') == std::string_view::npos);
        CHECK(titles.insert(kRoles[i].title).second);
        CHECK(role_from_name(kRoles[i].name) == kRoles[i].role);
    }
    CHECK_FALSE(role_from_name("count_"));
}

TEST_CASE("fields are laid out in order, with padding, arrays and batches", "[dictionary]") {
    const Dictionary demo = dictionary_of(read_json(demo_path("sanderling/dictionary.json")));
    REQUIRE(demo.packets.size() == 7);
    // bytes counted by hand from the types
    const std::uint32_t bytes[] = {
        2 + 4 * 12, 3 + 2, 3 * 4 + 3 * 2 + 1 + 2 * 2, 2 + 1 + 2 + 2 + 8 + 8, 1 + 4 + 4 + 4 * 2, 1, 1 + 20 * 10};
    for (std::size_t i = 0; i < demo.packets.size(); ++i) {
        INFO(demo.packets[i].name);
        CHECK(demo.packets[i].user_data_bytes() == bytes[i]);
    }
    REQUIRE(demo.tables.size() == 9);
    CHECK(demo.tables[1].name == "imu.samples");
    CHECK(demo.tables[1].group == demo.packets[0].body.groups.data());
    CHECK(demo.tables[1].number_count == 6);
    const ChannelTable& nav = demo.tables[5];
    CHECK(nav.channels[5].name == "onboard_q_2");
    CHECK(nav.channels[5].element == 2);
    CHECK(nav.channels[5].role == Role::onboard_q_y);
    CHECK(demo.tables[4].text_count == 2);
    for (const ChannelTable& table : demo.tables) {
        std::size_t numbers = 0, texts = table.number_count; // numbers first, texts after them
        for (const Channel& channel : table.channels) CHECK(channel.place == (channel.is_text() ? texts : numbers)++);
        CHECK(numbers == table.number_count);
        CHECK(texts == table.channels.size());
    }
    CHECK(demo.packets[3].body.fields[2].bit_offset == 17);
    CHECK(demo.packets[3].body.fields[4].bit_offset == 24);
}

TEST_CASE("axes of one vector share a strip, called by what their titles have in common", "[dictionary]") {
    struct Case {
        std::vector<const char*> names;
        std::vector<const char*> titles;
        const char* strip; ///< empty: each has one of its own
        std::vector<const char*> lines;
    };
    const std::vector<Case> kCases{
        {{"velocity_east", "velocity_up"}, {"Velocity east", "Velocity up"}, "Velocity", {"east", "up"}},
        {{"accel_x", "accel_y"}, {"Acceleration, body x", "Acceleration, body y"}, "Acceleration, body", {"x", "y"}},
        {{"q_w", "q_x"}, {"Attitude, w", "Attitude, x"}, "Attitude", {"w", "x"}},
        {{"rate_x", "rate_y", "rate_z"},
         {"Roll rate", "Turn rate, body y", "Turn rate, body z"},
         "Turn rate, body",
         {"x", "y", "z"}},
        {{"rate_x", "rate_y"}, {"Roll rate", "Pitch rate"}, "the group", {"x", "y"}},
        {{"cell_1", "cell_12"}, {"Cell 1", "Cell 12"}, "Cell", {"1", "12"}},
        {{"_x", "_y"}, {"X", "Y"}, "", {}},
        {{"latitude", "longitude"}, {"Latitude", "Longitude"}, "", {}},
        {{"accel_x", "rate_x"}, {"Acceleration", "Rate"}, "", {}},
    };
    for (const Case& c : kCases) {
        INFO(c.names.front());
        std::vector<ChannelLabels> channels;
        for (std::size_t i = 0; i < c.names.size(); ++i)
            channels.push_back({c.names[i], c.titles[i], "m/s", "the group"});
        const auto strips = strips_from_names(channels);
        REQUIRE(strips.size() == c.names.size());
        for (std::size_t i = 0; i < strips.size(); ++i)
            CHECK(strips[i] == StripLine{c.strip, c.lines.empty() ? "" : c.lines[i]});
    }
    using Pair = std::array<ChannelLabels, 2>;
    for (const Pair& apart : {Pair{{{"a_x", "A x", "m", "G"}, {"a_y", "A y", "s", "G"}}},
                              Pair{{{"a_x", "A x", "m", "G"}, {"a_y", "A y", "m", "H"}}},
                              Pair{{{"a_x", "A x", "m", ""}, {"a_y", "A y", "m", ""}}},
                              Pair{{{"a_x", "A x", "m", "G"}, {"a_y", "A y", "m", "G", false}}}})
        for (const StripLine& strip : strips_from_names(apart)) CHECK(strip == StripLine{});
    const Dictionary demo = dictionary_of(read_json(demo_path("sanderling/dictionary.json")));
    CHECK(demo.tables[1].channels[4].strip == StripLine{"Turn rate, body", "y"});
    CHECK(demo.tables[5].channels[6].strip == StripLine{"On-board attitude q", "3"});
    CHECK(demo.tables[2].channels[0].strip == StripLine{});
}

TEST_CASE("a channel is called by its title, or by its name without the unit", "[dictionary]") {
    struct Case {
        const char* name;
        const char* unit;
        const char* title;
    };
    for (const Case& c :
         {Case{"static_pressure", "Pa", "Static pressure"}, Case{"descent_rate_mps", "m/s", "Descent rate"},
          Case{"accel_x_mps2", "m/s2", "Accel x"}, Case{"spin_radps", "rad/s", "Spin"},
          Case{"spin_rad_s", "rad/s", "Spin"}, Case{"bay_temperature_c", "Cel", "Bay temperature"},
          Case{"valve_c", "1", "Valve c"}, Case{"track_m", "s", "Track m"}, Case{"m", "m", "M"},
          Case{"altitude_m_sigma", "m", "Altitude, 1-sigma"}, Case{"v2_v", "V", "V2"}}) {
        INFO(c.name);
        CHECK(title_from_name(c.name, c.unit) == c.title);
    }
    nlohmann::json json = read_json(demo_path("sanderling/dictionary.json"));
    json["packets"][4]["fields"][3]["title"] = "Attitude";
    json["packets"][3]["fields"][5].erase("title");
    const Dictionary demo = dictionary_of(json);
    CHECK(demo.tables[5].channels[3].title == "Attitude 0");
    CHECK(demo.tables[5].channels[6].title == "Attitude 3");
    CHECK(demo.tables[4].channels[5].title == "Free storage");
}

TEST_CASE("channels stay valid when a dictionary is moved", "[dictionary]") {
    Dictionary first = dictionary_of(read_json(demo_path("sanderling/dictionary.json")));
    const Dictionary second = std::move(first);
    CHECK(second.tables[2].channels[0].field == second.packets[1].body.fields.data());
}

TEST_CASE("units are UCUM codes", "[dictionary]") {
    // Codes from the tables of The Unified Code for Units of Measure and its examples of syntax.
    for (const char* unit : {"1",         "m",     "m/s",  "m/s2",   "m.s-2",    "rad/s",    "deg",    "Cel",    "K",
                             "kPa",       "Pa",    "hPa",  "uT",     "mV",       "V",        "mA.h",   "%",      "/min",
                             "{rev}/min", "By",    "KiBy", "dB{mW}", "kg/m3",    "J/(kg.K)", "10*6/s", "[in_i]", "bar",
                             "min",       "[ppm]", "Ohm",  "N.m",    "kg.m2/s2", "[kn_i]",   "us",     "{count}"}) {
        INFO(unit);
        CHECK(is_ucum_unit(unit));
    }
    for (const char* unit : {"", "metres", "degC", "RPM", "bytes", "m//s", "m/", "(m", "m)", "m s", "{rev", "celsius",
                             "mbarr", "kmin", "m-", "m^2", "volts", "sec", "((((((((((m))))))))))"}) {
        INFO(unit);
        CHECK_FALSE(is_ucum_unit(unit));
    }
}
