// What log.json may say, and what a log seems to be.
#include <catch2/catch.hpp>

#include "server/exchange/import/first_look.hpp"
#include "server/exchange/import/log/log_mapping.hpp"
#include "tests/exchange/flown.hpp"

using namespace turnstone;
using namespace turnstone::exchange;
using namespace turnstone::exchange_test;
using nlohmann::json;

namespace {

const json kGood = {{"time", {{"column", "t"}, {"unit", "s"}}}, {"columns", {{{"column", "p"}}}}};

json with(const std::string& pointer, const json& value) {
    json out = kGood;
    out[json::json_pointer(pointer)] = value;
    return out;
}

} // namespace

TEST_CASE("every mistake in a log's mapping is named where it stands") {
    struct Case {
        json text;
        std::string pointer, says;
    };
    for (const Case& each :
         {Case{with("/separator", "|"), "/separator", "|"}, Case{with("/decimal", "comma"), "/decimal", "separator"},
          Case{with("/time/unit", "min"), "/time/unit", "min"}, Case{with("/time/zone", 1), "/time/zone", "zone"},
          Case{with("/columns", json::array()), "/columns", "1"},
          Case{with("/columns/0/column", "T"), "/columns/0/column", "twice"},
          Case{with("/columns/0/column", "%"), "/columns/0/column", "letter"},
          Case{with("/columns/0/unit", "furlong"), "/columns/0/unit", "UCUM"},
          Case{with("/columns/0/gain", 0), "/columns/0/gain", "0"}, Case{json(3), "", "object"}}) {
        std::vector<Problem> problems;
        const auto read = read_log_mapping(each.text, "log.json", problems);
        INFO(each.text.dump() << "\n" << to_string(problems));
        CHECK(!read);
        REQUIRE(!problems.empty());
        CHECK(std::ranges::any_of(problems, [&](const Problem& problem) { return problem.pointer == each.pointer; }));
        CHECK_THAT(to_string(problems), Catch::Contains(each.says));
    }
}

TEST_CASE("a mapping is read and written as the dashboard does") {
    const json text = json::parse(test::read_file(test::source_path("tests/golden/exchange/mapping.json")));
    std::vector<Problem> problems;
    const auto read = read_log_mapping(text, "mapping.json", problems);
    INFO(to_string(problems));
    REQUIRE(read);
    CHECK(to_json(*read) == text);
}

TEST_CASE("what was read is written and read the same, and its schema has its keys") {
    const json text = {
        {"title", "Logger"},
        {"separator", "tab"},
        {"decimal", "comma"},
        {"time", {{"column", "t"}, {"unit", "us"}, {"is_onboard", true}}},
        {"columns",
         {{{"column", "p"}, {"channel", "baro.static_pressure"}, {"unit", "Pa"}, {"gain", 100.0}, {"offset", 1.0}},
          {{"column", "s"}, {"title", "State"}, {"is_text", true}}}}};
    std::vector<Problem> problems;
    const auto read = read_log_mapping(text, "log.json", problems);
    INFO(to_string(problems));
    REQUIRE(read);
    CHECK(to_json(*read) == text);
    const json schema = test::read_json(test::source_path("protocol/schema/log.schema.json"));
    for (const auto& [key, value] : text.items()) CHECK(schema["properties"].contains(key));
    for (const json& column : text["columns"])
        for (const auto& [key, value] : column.items())
            CHECK(schema["properties"]["columns"]["items"]["properties"].contains(key));
    for (const auto& [key, value] : text["time"].items())
        CHECK(schema["properties"]["time"]["properties"].contains(key));
}

TEST_CASE("the log's packet takes titles, units and ranges of the channels, and roles only where two are chosen from") {
    const PipelineSetup setup = demo_setup();
    std::vector<Problem> problems;
    const json text = {{"time", {{"column", "t"}, {"unit", "s"}}},
                       {"columns",
                        {{{"column", "ax"}, {"channel", "imu.samples.accel_body_x"}},
                         {{"column", "lat"}, {"channel", "sanderling/fix.latitude"}},
                         {{"column", "p"}, {"channel", "baro.static_pressure"}, {"unit", "hPa"}}}}};
    const auto mapping = read_log_mapping(text, "log.json", problems);
    REQUIRE(mapping);
    const auto made = with_log_packet(setup.vehicles[0], *mapping);
    INFO((made ? "" : made.error().message));
    REQUIRE(made);
    const Dictionary& dictionary = made->vehicle.dictionary;
    const auto ax = find_channel(dictionary, "log.ax"), lat = find_channel(dictionary, "log.lat");
    const auto pressure = find_channel(dictionary, "sanderling/log.p");
    REQUIRE((ax && lat && pressure));
    CHECK(ax->channel->role == Role::accel_body_x);
    CHECK(ax->channel->field->unit == "m/s2");
    CHECK(ax->channel->field->valid_range == std::pair(-160.0, 160.0));
    CHECK(!lat->channel->role);
    CHECK(lat->channel->field->unit == "deg");
    CHECK(!pressure->channel->role); // in another unit it is another quantity
    LogMapping wrong = *mapping;
    wrong.columns[0].channel = "imu.speed";
    const auto refused = with_log_packet(setup.vehicles[0], wrong);
    REQUIRE(!refused);
    CHECK_THAT(refused.error().message, Catch::Contains("imu.speed"));
}

TEST_CASE("a log is taken for columns when it has a header line and lines that fit it") {
    struct Case {
        std::string text;
        bool is_columns;
        char separator;
        std::size_t columns;
    };
    for (const Case& each : {Case{"t,a\n1,2\n3,4\n", true, ',', 2}, Case{"t;a;b\r\n1,5;2;3\r\n", true, ';', 3},
                             Case{"# made by x\nt\ta\n1\t2\n", true, '\t', 2}, Case{"1,2\n3,4\n", false, ',', 0},
                             Case{"t,a\n1,2,3\n", false, ',', 0}, Case{"", false, ',', 0}, Case{"t,a\n", false, ',', 0},
                             Case{std::string("t,a\n1,2\0\n3,4\n", 13), false, ',', 0}}) {
        INFO(each.text);
        const FirstLook look = look_at_log(std::as_bytes(std::span(each.text)));
        CHECK(look.is_columns == each.is_columns);
        CHECK(look.columns.size() == each.columns);
        if (each.is_columns) CHECK(look.separator == each.separator);
    }
}

TEST_CASE("a decimal comma is seen where another character separates, and proposed") {
    const auto look_at = [](const std::string& text) { return look_at_log(std::as_bytes(std::span(text))); };
    const FirstLook commas = look_at("t_ms;a;b;c\n5,0;-0,97;2;up,down\n15,0;1,01;3;rail\n");
    REQUIRE(commas.columns.size() == 4);
    CHECK(commas.decimal == ',');
    CHECK(commas.columns[0].is_number);
    CHECK(commas.columns[1].is_number);
    CHECK(commas.columns[2].is_number);
    CHECK(!commas.columns[3].is_number);
    for (const char* text : {"t;a\n5.0;1\n6.0;2\n", "t;a\n5;1\n6;2\n", "t,a\n5,1\n6,2\n"}) {
        INFO(text);
        CHECK(look_at(text).decimal == '.');
        CHECK(look_at(text).columns[0].is_number);
    }
}
