#include "server/report/ground/charge_tables.hpp"

#include <cmath>

#include <fmt/format.h>

#include "server/analysis/charge/side_by_side.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

/// Sensors before and after: the stem of their columns.
constexpr std::pair<const char*, const char*> kSensors[] = {
    {"barometer", "Barometer"}, {"accel", "Accelerometer"}, {"gyro", "Gyro"}};
constexpr const char* kSensorParts[] = {"_state",   "_alive",        "_offset",      "_offset_sigma",
                                        "_shift_p", "_shift_effect", "_least_shift", "_noise_ratio",
                                        "_noise_p", "_least_across"};
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
    for (const auto& [stem, title] : kSensors)
        for (const char* part : kSensorParts)
            if (column.name == std::string(stem) + part) return true;
    return false;
}

/// Whether something was seen is said by its time; only what was not seen needs a line.
bool is_said_already(const RowValues& row, const Column& column) {
    return column.name.ends_with("_seen") && row.value(column.name) == 1;
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

/// How often chance alone would show as much.
std::string p_text(double p) {
    if (std::isnan(p)) return std::string(kNoFigure);
    return p < 0.001 ? "below 0.001" : fixed(p, 3);
}

Markup sensors_table(const Firing& firing) {
    LedgerTable table({{"Sensor"},
                       {"afterwards"},
                       {"after − before", true},
                       {"p", true},
                       {"effect", true},
                       {"could be seen", true},
                       {"noise ratio", true},
                       {"p", true}});
    for (const auto& [sensor, title] : kSensors) {
        const std::string stem = sensor;
        const auto place = number_column(firing.row.table(), stem + "_offset");
        if (!place) continue;
        const auto of = [&](const char* part) { return firing.row.value(stem + part); };
        const Column& offset = firing.row.table().columns[*place];
        const std::string state = firing.row.word_of(stem + "_state");
        std::vector<Markup> cells{
            Markup::text(title),
            strong(state.empty() ? "not evaluated" : state),
            Markup::text(quantity_near(of("_offset"), of("_offset_sigma"), offset.decimals, offset.unit)),
            Markup::text(p_text(of("_shift_p"))),
            Markup::text(fixed(of("_shift_effect"), 2)),
            Markup::text(quantity_near(of("_least_shift"), std::nan(""), offset.decimals + 1, offset.unit)),
            Markup::text(fixed(of("_noise_ratio"), 2)),
            Markup::text(p_text(of("_noise_p")))};
        if (state == "well")
            table.row(std::move(cells));
        else
            table.marked_row(std::move(cells));
    }
    if (table.empty()) return {};
    const double least_across_mps2 = firing.row.value("accel_least_across");
    Markup across;
    if (std::isfinite(least_across_mps2))
        across = element("p", fmt::format("The record cannot tell an offset of the accelerometer across gravity below "
                                          "{:.1f}\u00a0m/s².",
                                          least_across_mps2));
    return element("div.keep",
                   element("h3", "Sensors, after the firing against before") + table.markup() + across +
                       element("p.note",
                               "p: how often chance alone would show as much, of the means by Welch's t, of the noise "
                               "by Brown and Forsythe. Effect: Hedges' g. Could be seen: the least shift that this "
                               "record would have shown, with a probability of 80\u00a0%. Inverted: axes that read "
                               "with the other sign. Disagrees: gravity is not where the gyro's turn puts it."));
}

} // namespace

Markup findings_tables(const Firing& firing) {
    const Table& table = firing.row.table();
    std::vector<std::pair<std::string, std::string>> found;
    std::size_t open = 0;
    for (std::size_t i = 0; i < table.number_count; ++i) {
        const Column& column = table.columns[i];
        if (is_sigma(table, column) || is_of_sensor(column) || is_said_already(firing.row, column)) continue;
        const std::string value = value_text(firing.row, column);
        if (!value.empty())
            found.emplace_back(column.title, value);
        else if (!column.name.ends_with("_seen"))
            ++open;
    }
    Markup content;
    if (!found.empty()) content += two_columns(found);
    if (open > 0) content += element("p.note", fmt::format("{} more that this record cannot say.", open));
    return content + sensors_table(firing);
}

Markup earlier_table(const Firing& firing, const std::vector<EarlierFiring>& earlier) {
    if (earlier.empty()) return {};
    const std::size_t shown = std::min(kTestsShown, earlier.size());
    std::vector<LedgerTable::Column> columns{{"Tests side by side"}, {"This test", true}};
    for (std::size_t i = 0; i < shown; ++i) columns.push_back({earlier[i].label, true});
    columns.push_back({"mean, spread", true});
    columns.push_back({"95\u00a0% of the mean", true});
    columns.push_back({"this − earlier", true});
    LedgerTable table(columns);
    for (const char* name : kCompared) {
        const auto place = number_column(firing.row.table(), name);
        if (!place) continue;
        const Column& column = firing.row.table().columns[*place];
        const auto measured = [&](const RowValues& row) {
            return analysis::Measured{row.value(column.name), row.sigma(column.name)};
        };
        std::vector<analysis::Measured> tests; // oldest first
        for (auto test = earlier.rbegin(); test != earlier.rend(); ++test) tests.push_back(measured(test->row));
        tests.push_back(measured(firing.row));
        const analysis::SideBySide found = analysis::side_by_side(tests);
        if (found.all.count < 2) continue;
        const ShownUnit unit = shown_unit_near(column.unit, found.all.mean);
        const int decimals = shown_decimals(unit, column.decimals);
        const auto text = [&](const analysis::Measured& test) {
            return rounded(unit.shown(test.value), unit.gain * test.sigma, decimals);
        };
        std::vector<Markup> cells{Markup::text(column.title + (unit.symbol.empty() ? "" : ", " + unit.symbol)),
                                  strong(text(tests.back()))};
        for (std::size_t i = 0; i < shown; ++i) cells.push_back(Markup::text(text(measured(earlier[i].row))));
        cells.push_back(Markup::text(rounded(unit.shown(found.all.mean), unit.gain * found.all.sd, decimals)));
        cells.push_back(Markup::text(from_to(unit.shown(found.mean.low), unit.shown(found.mean.high), decimals)));
        const bool can_say = std::isfinite(tests.back().value) && std::isfinite(found.newest.fraction);
        cells.push_back(Markup::text(
            can_say ? rounded_with_sign(100 * found.newest.fraction, 100 * found.newest.sigma, 1) + "\u00a0%"
                    : std::string(kNoFigure)));
        table.row(std::move(cells));
    }
    if (table.empty()) return {};
    return element(
        "div.keep",
        table.markup() +
            element("p.note", fmt::format("Mean and sample standard deviation of {} tests, this one among them. Last "
                                          "column: this test less the mean of those before it, over the mean of the "
                                          "two.",
                                          earlier.size() + 1)));
}

} // namespace turnstone::report
