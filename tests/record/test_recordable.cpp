// What cannot be recorded is known before anything is received.
#include <catch2/catch.hpp>

#include "server/record/format/layout.hpp"
#include "tests/record/support.hpp"

using namespace turnstone;

TEST_CASE("a schema is recordable when its tables can be made, and says which cannot") {
    Schema schema;
    schema.tables.push_back(
        {.name = "alpha/step", .title = "Step", .columns = {{"level", "Level"}}, .number_count = 1});
    CHECK(why_not_recordable(schema).empty());
    schema.tables.push_back({.id = 1, .name = "alpha/wide", .title = "Wide", .columns = {}});
    for (int k = 0; k < 2500; ++k) schema.tables[1].columns.push_back({"c" + std::to_string(k), "C"});
    schema.tables[1].number_count = schema.tables[1].columns.size();
    CHECK(why_not_recordable(schema).find("alpha/wide") != std::string::npos);
}
