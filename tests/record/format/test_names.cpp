/// Every schema that a dictionary can name can be recorded.
#include <algorithm>
#include <array>
#include <random>
#include <set>
#include <string>

#include <catch2/catch.hpp>

#include "server/record/format/layout.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;

/// Names from few parts, so that they, and what is made of them, meet often.
std::string random_name(std::mt19937& random) {
    static constexpr std::array kParts{"gps",  "time",  "utc",   "stored",  "rollup", "x",
                                       "2",    "start", "frame", "sqlite_", "t",      "series",
                                       "link", "chunk", "event", "meta",    "word",   "late_row"};
    static constexpr std::array kJoints{"_", ".", "/", "-", ""};
    std::string name;
    for (std::size_t i = 1 + random() % 3; i > 0; --i)
        name += std::string(name.empty() ? "" : kJoints[random() % kJoints.size()]) + kParts[random() % kParts.size()];
    if (random() % 4 == 0) std::ranges::transform(name, name.begin(), [](char c) { return c == 'x' ? 'X' : c; });
    return name;
}

TEST_CASE("tables and columns of any names, in any order, can be recorded and told apart") {
    std::mt19937 random(8);
    for (int round = 0; round < 60; ++round) {
        Schema schema;
        for (TableId id = 0; id < 40; ++id) {
            std::vector<std::string> columns;
            for (std::size_t c = random() % 8; c > 0; --c) columns.push_back(random_name(random));
            schema.tables.push_back(make_table(id, random_name(random), TableKind::packet, 0.1, columns));
        }
        INFO("round " << round);
        REQUIRE(why_not_recordable(schema).empty());
        std::set<std::string> names;
        for (const StoredTable& table : name_tables(schema))
            for (const std::string& name : {table.sql_name, table.rows_name(), table.rollup_name()})
                CHECK(names.insert(name).second);
    }
}

TEST_CASE("packets named like each other's parts can be recorded in either order") {
    for (const bool turned : {false, true}) {
        std::vector<std::string> names{"tern/gps", "tern/gps_time", "tern/gps_utc", "stored/tern/gps",
                                       "rollup_tern_gps"};
        if (turned) std::ranges::reverse(names);
        Schema schema;
        for (const std::string& name : names)
            schema.tables.push_back(
                make_table(static_cast<TableId>(schema.tables.size()), name, TableKind::packet, 0.1, {"value"}));
        CHECK(why_not_recordable(schema).empty());
    }
}

TEST_CASE("a schema that cannot be recorded says why") {
    Schema schema;
    schema.tables.push_back(
        make_table(0, "tern/wide", TableKind::packet, 0.1, std::vector<std::string>(kColumnsMax, "value")));
    CHECK(why_not_recordable(schema).empty());
    schema.tables[0] =
        make_table(0, "tern/wide", TableKind::packet, 0.1, std::vector<std::string>(kColumnsMax + 1, "value"));
    CHECK_THAT(why_not_recordable(schema), Catch::Contains("tern/wide") && Catch::Contains("split the packet"));
}

} // namespace
} // namespace turnstone
