// A table's columns and the values of its rows come from one list, so they cannot drift apart.
#include <algorithm>
#include <array>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/table.hpp"

using namespace turnstone;

namespace {

struct Reading {
    double a, b, c;
};

struct Definition {
    Column column;
    double (*value)(const Reading&);
    double expected;
};

const Reading kReading{1.5, -2.0, 1e9};
const std::vector<Definition> kDefinitions{{{"a_m", "A", "m"}, [](const Reading& r) { return r.a; }, 1.5},
                                           {{"b_pa", "B", "Pa"}, [](const Reading& r) { return r.b; }, -2.0},
                                           {{"c", "C"}, [](const Reading& r) { return r.c; }, 1e9},
                                           {{"sum", "Sum"}, [](const Reading& r) { return r.a + r.b; }, -0.5}};

} // namespace

TEST_CASE("a value is in the column of its name, whatever the order in which columns are added") {
    std::mt19937 random(3);
    std::vector<Definition> order = kDefinitions;
    for (int round = 0; round < 24; ++round) {
        std::shuffle(order.begin(), order.end(), random);
        TableOf<Reading> table{"readings", "Readings", 0.5};
        for (const Definition& one : order) table.add(one.column, one.value);
        const auto row = table.row(kReading);
        REQUIRE(row.size() == order.size());
        REQUIRE(table.about().columns.size() == order.size());
        for (const Definition& one : kDefinitions) {
            const auto& columns = table.about().columns;
            const auto at = std::find_if(columns.begin(), columns.end(),
                                         [&](const Column& column) { return column.name == one.column.name; });
            REQUIRE(at != columns.end());
            CHECK(row[static_cast<std::size_t>(at - columns.begin())] == one.expected);
        }
    }
}

TEST_CASE("an interval belongs to the value it follows, not to its 1-sigma") {
    TableOf<Reading> table{"readings", "Readings", 0};
    const auto a = [](const Reading& r) { return r.a; };
    table.add({"a_m", "A", "m"}, a).interval("a_low_m", "a_high_m").sigma(a).add({"a_low_m", "A, low", "m"}, a);
    const auto& columns = table.about().columns;
    REQUIRE(columns.size() == 3);
    CHECK(columns[0].low_column == "a_low_m");
    CHECK(columns[0].high_column == "a_high_m");
    CHECK(columns[0].sigma_column == "a_m_sigma");
    CHECK(columns[1].low_column.empty());
    CHECK(columns[2].low_column.empty());
}

TEST_CASE("a sigma follows the column it belongs to, in its unit") {
    TableOf<Reading> table{"readings", "Readings", 0};
    table.add({"a_m", "A", "m"}, [](const Reading& r) { return r.a; })
        .sigma([](const Reading& r) { return r.c; }, 1)
        .add({"b_pa", "B", "Pa"}, [](const Reading& r) { return r.b; });
    const auto& columns = table.about().columns;
    REQUIRE(columns.size() == 3);
    CHECK(columns[0].sigma_column == "a_m_sigma");
    CHECK(columns[1].name == "a_m_sigma");
    CHECK(columns[1].unit == "m");
    CHECK(columns[1].decimals == 1);
    CHECK(columns[1].group.empty()); // shown with its value
    CHECK(columns[2].sigma_column.empty());
    const auto row = table.row(kReading);
    CHECK(std::vector<double>(row.begin(), row.end()) == std::vector<double>{1.5, 1e9, -2.0});
}
