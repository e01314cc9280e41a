#include <cmath>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"

namespace turnstone::exchange {

namespace {

/// "sanderling/imu.accel_x [m/s2]". The columns of one time base have their tables' names already.
std::string heading(const ChosenTable& table, const Column& column, bool is_resampled) {
    std::string name = (is_resampled ? "" : table.name + ".") + column.name;
    return column.is_text ? name : name + " [" + column.unit + "]";
}

char* put_cell(char* at, double value) noexcept {
    if (std::isnan(value)) return at;
    if (std::isfinite(value)) return put_number(at, value);
    for (const char c : std::string_view(value < 0 ? "-Infinity" : "Infinity")) *at++ = c;
    return at;
}

} // namespace

Result<void> write_csv(const Subject& subject, Rows& rows, Output& out, Steps& steps) {
    const auto& tables = rows.tables();
    const bool names_series = tables.size() > 1;
    out.put(names_series ? "utc,t_s [s],series" : "utc,t_s [s]");
    std::vector<std::size_t> before, after; // commas of the other tables' columns
    std::size_t columns = 0;
    for (const ChosenTable& table : tables) {
        before.push_back(columns);
        columns += table.columns.size();
        for (const Column& column : table.columns) {
            out.put(",");
            put_csv_cell(out, heading(table, column, rows.is_resampled()));
        }
    }
    out.put("\r\n");
    for (std::size_t i = 0; i < tables.size(); ++i) after.push_back(columns - before[i] - tables[i].columns.size());
    const std::string commas(columns, ',');
    UtcText utc;
    bool go_on = true;
    while (go_on && !out.failed() && rows.next()) {
        const StreamedRow& row = rows.row();
        char* at = utc.put(out.room(kUtcCharacters + 1 + kNumberRoom), subject.utc_ns(row.t_ns));
        *at++ = ',';
        out.used(put_seconds(at, row.t_ns - subject.info.t_start_ns));
        if (names_series) {
            out.put(",");
            put_csv_cell(out, tables[row.choice].name);
        }
        out.put(std::string_view(commas).substr(0, before[row.choice]));
        for (const double value : row.numbers) {
            at = out.room(1 + kNumberRoom);
            *at++ = ',';
            out.used(put_cell(at, value));
        }
        for (const std::string& text : row.texts) {
            out.put(",");
            put_csv_cell(out, text);
        }
        out.put(std::string_view(commas).substr(0, after[row.choice]));
        out.put("\r\n");
        go_on = steps.go_on(row.t_ns);
    }
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
