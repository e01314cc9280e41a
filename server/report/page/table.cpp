#include "server/report/page/table.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace turnstone::report {

Markup LedgerTable::markup(std::size_t most) const {
    Markup head;
    for (const Column& column : columns_)
        head += column.figures ? element("th.n", column.title) : element("th", column.title);
    Markup body;
    for (std::size_t i = 0; i < std::min(most, rows_.size()); ++i) {
        Markup cells;
        for (std::size_t c = 0; c < columns_.size(); ++c) {
            const Markup& cell = c < rows_[i].cells.size() ? rows_[i].cells[c] : Markup();
            cells += columns_[c].figures ? element("td.n", cell) : element("td", cell);
        }
        body += rows_[i].marked ? element("tr.marked", cells) : element("tr", cells);
    }
    Markup table = element("table.ledger", element("thead", element("tr", head)) + element("tbody", body));
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
