#pragma once
/// A ruled table: a head, rows, the columns of figures to the right.
#include <string>
#include <string_view>
#include <vector>

#include "server/report/page/markup.hpp"

namespace turnstone::report {

class LedgerTable {
  public:
    struct Column {
        std::string title;
        bool figures = false; ///< set to the right, digits under digits
        bool rest = false;    ///< takes what the others leave of the width
    };
    explicit LedgerTable(std::vector<Column> columns) : columns_(std::move(columns)) {}

    /// A cell for each column; fewer leave the last ones empty.
    void row(std::vector<Markup> cells) { rows_.push_back({std::move(cells), false}); }
    /// One that needs a person: drawn on paper, in bold.
    void marked_row(std::vector<Markup> cells) { rows_.push_back({std::move(cells), true}); }

    [[nodiscard]] bool empty() const noexcept { return rows_.empty(); }
    /// At most `most` rows; a line says how many are left out.
    [[nodiscard]] Markup markup(std::size_t most = 1000) const;

  private:
    struct Row {
        std::vector<Markup> cells;
        bool marked;
    };
    std::vector<Column> columns_;
    std::vector<Row> rows_;
};

/// Text of a cell, in bold.
[[nodiscard]] Markup strong(std::string_view text);
/// Text that stands back.
[[nodiscard]] Markup note(std::string_view text);

} // namespace turnstone::report
