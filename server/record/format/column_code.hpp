#pragma once
/// How a number lies in a cell of a series' table. Most are whole numbers of a step (a packet's raw value, an estimate
/// rounded far below its sigma), and SQLite keeps a small integer in one to four octets; a REAL takes eight. Integer
/// and REAL cells tell themselves apart, so that what is not a whole number of steps is stored as it is.
#include <cstdint>
#include <optional>

#include "server/pipeline/series.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

struct ColumnCode {
    double zero = 0;
    double step = 1;
    bool rounded = false; ///< to the nearest step; else only values that steps give back to the last bit are counted

    /// The integer cell of a value; none where it is stored as a REAL, or as NULL (NaN).
    [[nodiscard]] std::optional<std::int64_t> count_of(double value) const noexcept;
    [[nodiscard]] double value_of(std::int64_t count) const noexcept {
        return zero + step * static_cast<double>(count);
    }
};

/// Packets' columns come back to the last bit. Other columns are rounded to a step that follows from their unit and
/// the decimals people are shown; what is counted (enumerations, packets, bytes) is not rounded.
[[nodiscard]] ColumnCode code_of(TableKind kind, const Column& column);

/// Binds `value` as its cell and returns the value that the cell gives back.
double bind_number(Statement& insert, int place, const ColumnCode& code, double value);
[[nodiscard]] double number_of(const Statement& select, int place, const ColumnCode& code);
/// Whether the cell is that of `value`.
[[nodiscard]] bool holds(const Statement& select, int place, const ColumnCode& code, double value);
/// SQL that gives the value of a cell.
[[nodiscard]] std::string value_sql(const std::string& cell, const ColumnCode& code);

} // namespace turnstone
