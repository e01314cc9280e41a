#pragma once
/// How a recording holds a Schema: SQL names and the widths of rollup bins. schema.sql documents the result; the tables
/// that every recording has are in fixed_tables.hpp.
#include <cstdint>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"
#include "server/record/format/column_code.hpp"

namespace turnstone {

class Database;

extern const char* const kSchemaSql; ///< text of schema.sql
inline constexpr std::int64_t kApplicationId = 1414680147;
/// Layout of the recordings this program writes, and the oldest it reads.
inline constexpr std::int64_t kLayoutVersion = 2;
inline constexpr std::int64_t kLayoutVersionOldest = 1;
inline constexpr std::string_view kRecordingEnding = ".sqlite";
/// SQLite's own limit on the columns of a table or view is 2000; four are ours.
inline constexpr std::size_t kColumnsMax = 1990;

/// Rollup bins of one table: level k is 4^k times as wide as level 0; level 0 holds about kRowsPerFinestBin
/// rows.
struct RollupShape {
    unsigned shift; ///< finest bins are 2^shift ns wide
    unsigned levels;
    [[nodiscard]] unsigned shift_of(unsigned level) const noexcept { return shift + 2 * level; }
    /// Bin that holds a time; floor, also for times before the epoch.
    [[nodiscard]] std::int64_t bin_of(unsigned level, std::int64_t t_ns) const noexcept {
        return t_ns >> shift_of(level);
    }
    /// First instant of a bin; the greatest time there is for bins beyond it.
    [[nodiscard]] std::int64_t start_of(unsigned level, std::int64_t bin) const noexcept {
        constexpr std::int64_t kLast = std::numeric_limits<std::int64_t>::max();
        return bin > (kLast >> shift_of(level)) ? kLast : bin * (std::int64_t{1} << shift_of(level));
    }
    [[nodiscard]] std::int64_t key_of(unsigned level, std::int64_t bin) const noexcept {
        return (static_cast<std::int64_t>(levels - 1 - level) << 52) + (std::int64_t{1} << 51) + bin;
    }
    [[nodiscard]] std::int64_t bin_of_key(unsigned level, std::int64_t key) const noexcept {
        return key - key_of(level, 0);
    }
};
/// 32 rows: half the rollups of 16, and a window just too long for raw rows is still drawn with a bin for each three
/// pixels of a screen.
inline constexpr double kRowsPerFinestBin = 32;
/// For tables without a period.
inline constexpr double kSporadicPeriod_s = 0.1;
[[nodiscard]] RollupShape rollup_shape(double period_s) noexcept;

/// Rows that came later than this are in late_row: what a slow second link delivers, or packets that a vehicle repeats.
/// Without that limit one straggler would be everybody's slack.
inline constexpr std::int64_t kSlackMax_ns = 1'000'000'000;

/// A table as the file names it.
struct StoredTable {
    Table table;
    std::string sql_name; ///< of the view people read
    std::vector<std::string> column_sql_names;
    std::vector<ColumnCode> codes; ///< of the number columns
    RollupShape rollup{};
    std::int64_t slack_ns = 0; ///< as read; it grows while a recording is live
    std::int64_t base_ns = 0;  ///< station time that its times are counted from
    bool is_indexed = false;   ///< layout 1: on time, instead of a slack

    [[nodiscard]] std::string rows_name() const { return is_indexed ? sql_name : "stored_" + sql_name; }
    [[nodiscard]] std::string rollup_name() const { return "rollup_" + sql_name; }
    /// Takes t_ns, delay_ns, frame, columns in order.
    [[nodiscard]] std::string insert_sql() const;
};

/// Lower case, [a-z0-9_] only, unique among each other and beside everything else that a recording holds.
[[nodiscard]] std::vector<StoredTable> name_tables(const Schema& schema);

/// A recording of a layout that this program reads.
[[nodiscard]] bool is_readable(Database& database);

/// Fills `word` for the views.
void write_words(Database& database);
/// Writes series and their columns. Throws SqliteError; a table with too many columns throws std::runtime_error.
void describe_tables(Database& database, const std::vector<StoredTable>& tables);
[[nodiscard]] std::vector<StoredTable> read_tables(Database& database);
[[nodiscard]] bool has_table(Database& database, const std::string& name);
/// Makes what a series has once it has a row: its table and its view.
void create_series(Database& database, const StoredTable& table);
void create_rollup(Database& database, const StoredTable& table);
/// Why a recording of the schema cannot be made, by making one in memory; empty when it can.
[[nodiscard]] std::string why_not_recordable(const Schema& schema);

/// Newest of the times of inputs, rows (receive time) and events (time found); the start when there are none.
[[nodiscard]] std::int64_t newest_stored_time(Database& database, const std::vector<StoredTable>& tables);

} // namespace turnstone
