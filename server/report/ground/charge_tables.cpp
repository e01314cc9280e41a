#include "server/report/ground/charge_tables.hpp"

#include <cmath>

#include <fmt/format.h>

#include "server/analysis/statistics/outliers.hpp"
#include "server/analysis/statistics/summary.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr std::string_view kSensors[] = {"barometer_", "accel_", "gyro_"};
/// Compared from test to test.
constexpr const char* kCompared[] = {"lid_off",   "pulse_peak",    "shock",         "turn_rate",
                                     "free_time", "battery_least", "barometer_back"};
/// Tests before this one that are shown in columns of their own.
constexpr std::size_t kTestsShown = 4;

bool is_sigma(const Table& table, const Column& column) {
    for (const Column& other : table.columns)
        if (other.sigma_column == column.name) return true;
    return false;
}

bool is_of_sensor(const Column& column) {
    for (const std::string_view sensor : kSensors)
        if (column.name.starts_with(sensor) && !column.name.starts_with("barometer_back")) return true;
    return false;
}

std::string value_text(const RowValues& row, const Column& column) {
    if (!column.enumeration.empty()) return row.word_of(column.name);
    const double value = row.value(column.name);
    if (std::isnan(value)) return "";
    return quantity_near(value, row.sigma(column.name), column.decimals, column.unit);
}

/// Two columns of lines, since most values are short.
Markup two_columns(const std::vector<std::pair<std::string, std::string>>& lines) {
    Markup halves;
    const std::size_t half = (lines.size() + 1) / 2;
    for (std::size_t begin = 0; begin < lines.size(); begin += half) {
        LedgerTable table({{"Found"}, {"", true}});
        for (std::size_t i = begin; i < std::min(begin + half, lines.size()); ++i)
            table.row({Markup::text(lines[i].first), strong(lines[i].second)});
        halves += element("div", table.markup());
    }
    return element("div.pair", halves);
}

} // namespace

Markup findings_tables(const Firing& firing) {
    const Table& table = firing.row.table();
    std::vector<std::pair<std::string, std::string>> found;
    std::vector<std::pair<std::string, std::string>> sensors;
    std::size_t open = 0;
    for (std::size_t i = 0; i < table.number_count; ++i) {
        const Column& column = table.columns[i];
        if (is_sigma(table, column)) continue;
        const std::string value = value_text(firing.row, column);
        if (value.empty())
            ++open;
        else
            (is_of_sensor(column) ? sensors : found).emplace_back(column.title, value);
    }
    Markup content;
    if (!found.empty()) content += two_columns(found);
    if (!sensors.empty())
        content += element(
            "div.keep",
            element("h3", "Sensors, after the firing against before") + two_columns(sensors) +
                element(
                    "p.note",
                    "p: how often chance alone would show as much (Welch's t for a shift, Brown-Forsythe for noise)."));
    if (open > 0) content += element("p.note", fmt::format("{} more that this record cannot say.", open));
    return content;
}

Markup earlier_table(const Firing& firing, const std::vector<EarlierFiring>& earlier) {
    if (earlier.empty()) return {};
    const std::size_t shown = std::min(kTestsShown, earlier.size());
    std::vector<LedgerTable::Column> columns{{"Tests side by side"}, {"This test", true}};
    for (std::size_t i = 0; i < shown; ++i) columns.push_back({earlier[i].label, true});
    columns.push_back({"mean, spread", true});
    columns.push_back({"95\u00a0% of the mean", true});
    columns.push_back({"this − mean", true});
    LedgerTable table(columns);
    for (const char* stem : kCompared) {
        const auto place = charge_column(firing.row.table(), stem);
        if (!place) continue;
        const Column& column = firing.row.table().columns[*place];
        std::vector<double> values{firing.row.value(column.name)};
        for (const EarlierFiring& test : earlier) values.push_back(test.row.value(column.name));
        const analysis::Summary all = analysis::summarise(values);
        if (all.count < 2) continue;
        const ShownUnit unit = shown_unit_near(column.unit, all.mean);
        const int decimals = shown_decimals(unit, column.decimals);
        const analysis::Interval limits = analysis::mean_interval(all);
        std::vector<Markup> cells{
            Markup::text(column.title + (unit.symbol.empty() ? "" : ", " + unit.symbol)),
            strong(rounded(unit.shown(values.front()), unit.gain * firing.row.sigma(column.name), decimals))};
        for (std::size_t i = 0; i < shown; ++i)
            cells.push_back(Markup::text(
                rounded(unit.shown(values[i + 1]), unit.gain * earlier[i].row.sigma(column.name), decimals)));
        cells.push_back(Markup::text(rounded(unit.shown(all.mean), unit.gain * all.sd, decimals)));
        cells.push_back(
            Markup::text(fixed(unit.shown(limits.low), decimals) + " to " + fixed(unit.shown(limits.high), decimals)));
        const double relative = analysis::relative_difference(values.front(), 0, all.mean, 0).fraction;
        cells.push_back(
            Markup::text(std::isnan(relative) ? std::string(kNoFigure) : with_sign(100 * relative, 1) + "\u00a0%"));
        table.row(std::move(cells));
    }
    if (table.empty()) return {};
    return element(
        "div.keep",
        table.markup() +
            element("p.note", fmt::format("Mean and sample standard deviation of {} tests, this one among them.",
                                          earlier.size() + 1)));
}

} // namespace turnstone::report
