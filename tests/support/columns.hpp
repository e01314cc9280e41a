#pragma once
/// Whether each column of a table holds the quantity of its name.
#include <map>
#include <set>
#include <string>

#include <catch2/catch.hpp>

#include "server/estimate/table.hpp"

namespace turnstone::test {

/// By column name.
using ExpectedColumns = std::map<std::string, double>;

/// `source` gives each quantity a value of its own; `expected` has every column.
template <class Source>
void check_columns(TableOf<Source> table, const Source& source, const ExpectedColumns& expected) {
    const auto& columns = table.about().columns;
    const auto row = table.row(source);
    INFO("table " << table.about().name);
    CHECK(columns.size() == expected.size());
    std::set<double> values;
    for (std::size_t k = 0; k < columns.size(); ++k) {
        INFO(columns[k].name);
        const auto found = expected.find(columns[k].name);
        REQUIRE(found != expected.end());
        CHECK(row[k] == Approx(found->second).epsilon(1e-12));
        CHECK(values.insert(row[k]).second); // no other column of the table could stand for it
        if (!columns[k].sigma_column.empty()) CHECK(expected.contains(columns[k].sigma_column));
    }
}

} // namespace turnstone::test
