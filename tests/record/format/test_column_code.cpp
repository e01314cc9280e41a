/// Cells of numbers: what was decoded comes back to the last bit, what was estimated within a tenth of the last
/// digit that people are shown.
#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "protocol/dictionary/dictionary.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/format/column_code.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

class Cell {
  public:
    Cell() {
        database_.execute("CREATE TABLE cell (value)");
        insert_ = Statement(database_, "INSERT INTO cell VALUES (?)");
    }
    double keep(const ColumnCode& code, double value) {
        database_.execute("DELETE FROM cell");
        const double kept = bind_number(insert_, 1, code, value);
        insert_.run();
        Statement select(database_, "SELECT value, " + value_sql("value", code) + " FROM cell");
        REQUIRE(select.step());
        is_count = select.is_integer(0);
        CHECK(holds(select, 0, code, value));
        const double read = number_of(select, 0, code);
        CHECK((std::isnan(read) ? std::isnan(kept) : read == kept));
        by_sql = select.number(1);
        return read;
    }
    bool is_count = false;
    double by_sql = 0;

  private:
    Database database_{":memory:", Database::Mode::create};
    Statement insert_;
};

TEST_CASE("a raw value's channel is stored as a count and comes back to the last bit, in plain SQL too") {
    Cell cell;
    for (const double gain : {0.005, -0.0011, 1.0 / 3, 65536.0, 0x1p-23, 1e-7}) {
        for (const double offset : {0.0, 273.15, -1e6 / 7}) {
            Column column;
            column.step = gain;
            column.zero = offset;
            const ColumnCode code = code_of(TableKind::packet, column);
            for (const std::int64_t raw : {0LL, 1LL, -1LL, 77LL, -32768LL, 8388607LL, 2147483647LL, -2147483648LL}) {
                const double value =
                    offset + gain * static_cast<double>(raw); // LINK.md, "From raw to engineering values"
                INFO(gain << " * " << raw << " + " << offset);
                CHECK(cell.keep(code, value) == value);
                CHECK(cell.is_count);
                // SQLite before 3.43 reads decimals to about 16 digits (sqlite.org/floatingpoint.html).
                CHECK(cell.by_sql == Approx(value).epsilon(1e-15).margin(1e-300));
            }
        }
    }
}

TEST_CASE("what is not a whole number of steps is stored as it is") {
    Cell cell;
    constexpr double kInfinity = std::numeric_limits<double>::infinity();
    for (const double step : {0.0, 1.0, 0.005}) {
        Column column;
        column.step = step;
        const ColumnCode code = code_of(TableKind::batch, column);
        for (const double value : {0.1234567890123, -1.0 / 3, 1e300, -kInfinity, kInfinity, 5e-324, 0x1p60}) {
            INFO(step << ", " << value);
            CHECK(cell.keep(code, value) == value);
            CHECK_FALSE(cell.is_count);
        }
        CHECK(std::isnan(cell.keep(code, std::nan(""))));
        CHECK_FALSE(std::signbit(cell.keep(code, -0.0)));
    }
}

TEST_CASE("every channel of the demo that is not a 32-bit float has a step, and every estimate is rounded below "
          "what is shown") {
    Cell cell;
    std::size_t channels = 0, estimates = 0;
    const Schema demo = Pipeline(test::demo_setup(), 0).schema();
    for (const Table& table : demo.tables) {
        for (std::size_t c = 0; c < table.number_count; ++c) {
            const Column& column = table.columns[c];
            const ColumnCode code = code_of(table.kind, column);
            INFO(table.name << " " << column.name);
            if (table.kind == TableKind::packet || table.kind == TableKind::batch) {
                CHECK_FALSE(code.rounded);
                CHECK((column.step != 0) !=
                      (column.name == "onboard_altitude" || column.name == "onboard_vertical_speed"));
                ++channels;
                continue;
            }
            const bool is_counted =
                !column.enumeration.empty() || (column.decimals == 0 && (column.unit == "1" || column.unit == "By"));
            const double shown = std::pow(10.0, -column.decimals);
            for (const double value : {0.0, 1.0, 7.123456789012, -90.987654321, 1034.56789}) {
                const double kept = cell.keep(code, is_counted ? std::round(value) : value);
                CHECK(std::abs(kept - (is_counted ? std::round(value) : value)) <= 0.051 * shown);
                CHECK(cell.is_count);
            }
            CHECK(code.rounded == !is_counted);
            ++estimates;
        }
    }
    CHECK(channels > 30);
    CHECK(estimates > 150);
}

TEST_CASE("estimates keep at least these steps, whatever they are shown with") {
    struct Case {
        const char* unit;
        int decimals;
        double step;
    };
    for (const auto& [unit, decimals, step] : {Case{"m", 0, 1e-3}, Case{"m/s", 0, 1e-3}, Case{"deg", 0, 1e-3},
                                               Case{"deg", 7, 1e-8}, Case{"Pa", 1, 1e-2}, Case{"h", 2, 1e-7}}) {
        Column column;
        column.unit = unit;
        column.decimals = decimals;
        INFO(unit << " " << decimals);
        CHECK(code_of(TableKind::estimate, column).step == step);
    }
}

} // namespace
} // namespace turnstone
