#include <cmath>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"

namespace turnstone::exchange {

namespace {

void put_member(Output& out, std::string_view name, std::string_view value) {
    put_json_text(out, name);
    out.put(":");
    put_json_text(out, value);
}

void put_first_line(const Subject& subject, const std::vector<ChosenTable>& tables, Output& out) {
    out.put("{");
    put_member(out, "recording", subject.info.id);
    out.put(",");
    put_member(out, "start_utc", utc_text(subject.info.utc_start_ns));
    out.put(",\"series\":[");
    for (std::size_t i = 0; i < tables.size(); ++i) {
        out.put(i == 0 ? "{" : ",{");
        put_member(out, "name", tables[i].name);
        out.put(",");
        put_member(out, "title", tables[i].title);
        out.put(",\"columns\":[");
        for (std::size_t c = 0; c < tables[i].columns.size(); ++c) {
            const Column& column = tables[i].columns[c];
            out.put(c == 0 ? "{" : ",{");
            put_member(out, "name", column.name);
            out.put(",");
            put_member(out, "title", column.title);
            if (!column.is_text) {
                out.put(",");
                put_member(out, "unit", column.unit);
            }
            out.put("}");
        }
        out.put("]}");
    }
    out.put("]}\n");
}

void put_value(Output& out, double value) {
    if (std::isnan(value))
        out.put("null");
    else if (std::isinf(value))
        out.put(value < 0 ? "\"-Infinity\"" : "\"Infinity\""); // JSON has no such number
    else
        out.used(put_number(out.room(kNumberRoom), value));
}

} // namespace

Result<void> write_json_lines(const Subject& subject, Rows& rows, Output& out, Steps& steps) {
    const auto& tables = rows.tables();
    put_first_line(subject, tables, out);
    UtcText utc;
    bool go_on = true;
    while (go_on && !out.failed() && rows.next()) {
        const StreamedRow& row = rows.row();
        const ChosenTable& table = tables[row.choice];
        out.put("{\"series\":");
        put_json_text(out, table.name);
        out.put(",\"utc\":\"");
        out.used(utc.put(out.room(kUtcCharacters), subject.utc_ns(row.t_ns)));
        out.put("\",\"t_s\":");
        out.used(put_seconds(out.room(kNumberRoom), row.t_ns - subject.info.t_start_ns));
        out.put(",\"values\":{");
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            if (c > 0) out.put(",");
            put_json_text(out, table.columns[c].name);
            out.put(":");
            if (c < row.numbers.size())
                put_value(out, row.numbers[c]);
            else
                put_json_text(out, row.texts[c - row.numbers.size()]);
        }
        out.put("}}\n");
        go_on = steps.go_on(row.t_ns);
    }
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
