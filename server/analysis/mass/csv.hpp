#pragma once
/// Comma-separated values after RFC 4180: rows of cells, quoted where they hold a comma, a quote or a line end. Lines
/// end in CR LF; LF alone is read too, and so is a byte order mark, which spreadsheets write.
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

struct CsvRow {
    std::size_t line; ///< of the file, from 1, in which it begins
    std::vector<std::string> cells;
};

inline constexpr std::size_t kCsvCellsMax = 1'000'000;

/// Empty lines are passed over. Fails at text beside a quoted cell, at a quote within a plain one, at a quote that is
/// never closed and beyond kCsvCellsMax.
[[nodiscard]] Result<std::vector<CsvRow>> read_csv(std::string_view text);

/// One row, its line end included.
[[nodiscard]] std::string csv_line(const std::vector<std::string>& cells);

} // namespace turnstone
