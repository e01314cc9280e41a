#include "server/report/page/table.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace turnstone::report {

Markup LedgerTable::markup(std::size_t most) const {
    const auto head_cell = [](const Column& column) {
        if (column.title.empty()) return element("td", Markup()); // a heading that says nothing is none
        if (column.figures) return element("th.n", column.title);
        return column.rest ? element("th.rest", column.title) : element("th", column.title);
    };
    const auto cell_of = [](const Column& column, const Markup& content) {
        if (column.figures) return element("td.n", content);
        return column.rest ? element("td.rest", content) : element("td", content);
    };
    Markup head;
    for (const Column& column : columns_) head += head_cell(column);
    Markup body;
    for (std::size_t i = 0; i < std::min(most, rows_.size()); ++i) {
        Markup cells;
        for (std::size_t c = 0; c < columns_.size(); ++c)
            cells += cell_of(columns_[c], c < rows_[i].cells.size() ? rows_[i].cells[c] : Markup());
        body += rows_[i].marked ? element("tr.marked", cells) : element("tr", cells);
    }
    const Markup content = element("thead", element("tr", head)) + element("tbody", body);
    const bool has_rest = std::ranges::any_of(columns_, &Column::rest);
    Markup table = has_rest ? element("table.ledger has-rest", content) : element("table.ledger", content);
    if (rows_.size() > most) table += element("p.note", fmt::format("{} more, in the recording.", rows_.size() - most));
    return table;
}

Markup strong(std::string_view text) {
    return element("b", text);
}

Markup note(std::string_view text) {
    return element("span.note", text);
}

} // namespace turnstone::report
