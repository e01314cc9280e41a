#pragma once
/// One wide table of numbers and its rows, for benchmarks counted in rows.
#include <random>
#include <string>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"

namespace turnstone::bench {

inline constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;
inline constexpr std::int64_t kRowPeriod_ns = 1'000'000;

/// A schema of one table at 1 kHz with the columns channel_0, channel_1, ...
inline Schema one_table(std::size_t columns) {
    Table table;
    table.name = "sanderling/imu";
    table.period_s = 1e-9 * static_cast<double>(kRowPeriod_ns);
    table.number_count = columns;
    for (std::size_t i = 0; i < columns; ++i) {
        Column column;
        column.name = "channel_" + std::to_string(i);
        column.unit = "1";
        table.columns.push_back(std::move(column));
    }
    Schema schema;
    schema.tables.push_back(std::move(table));
    return schema;
}

/// Seeded noise for rows of such a table.
class RowMaker {
  public:
    explicit RowMaker(std::size_t columns) : numbers_(columns) {}
    std::span<const double> next() {
        for (double& number : numbers_) number = normal_(random_);
        return numbers_;
    }

  private:
    std::mt19937 random_{1};
    std::normal_distribution<double> normal_;
    std::vector<double> numbers_;
};

} // namespace turnstone::bench
