#include "server/report/ground/charge_picture.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "server/analysis/statistics/summary.hpp"
#include "server/report/chapters/links.hpp"
#include "server/report/draw/strip_chart.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr double kBefore_ms = 20;
constexpr double kAfterLeast_ms = 160;
constexpr double kAfterMost_ms = 400;
constexpr std::size_t kPicturePoints = 600;
constexpr std::size_t kEdgesInRow = 5;

/// What is drawn of a firing, the roles in which it may have been recorded, and the figure that stands beside it.
struct PictureStrip {
    const char* title;
    std::initializer_list<std::string_view> roles;
    const char* figure;    ///< column of the charge's table
    const char* figure_at; ///< column that says when; null: none does
    bool over_before;      ///< drawn, as the figure is, as the difference from what was before
    bool is_size;          ///< the figure is the greatest to either side
};
const PictureStrip kPictureStrips[] = {
    {"Long-axis acceleration − before", {"charge_accel_x", "accel_body_x"}, "shock", nullptr, true, true},
    {"Bay pressure − before", {"charge_bay_pressure", "static_pressure"}, "pulse_peak", "pulse_peak_at", true, false},
    {"Turn rate − before", {"charge_turn_rate", "rate_body_y"}, "turn_rate", nullptr, true, true},
    {"Battery", {"charge_battery", "battery_voltage"}, "battery_least", nullptr, false, false},
    {"Current", {"charge_current"}, "current_peak", nullptr, false, false},
};

double mean_before(const Trace& trace) {
    std::vector<double> before;
    for (std::size_t i = 0; i < trace.t.size(); ++i)
        if (trace.t[i] < 0) before.push_back(trace.y[i]);
    return analysis::summarise(before).mean;
}

std::string figure_of(const Firing& firing, const char* column_name) {
    const auto place = number_column(firing.row.table(), column_name);
    if (!place) return {};
    const Column& column = firing.row.table().columns[*place];
    const double value = firing.row.value(column.name);
    if (std::isnan(value)) return {};
    return quantity_near(value, firing.row.sigma(column.name), column.decimals, column.unit);
}

/// Of what is drawn of a trace, in the unit shown.
struct Drawn {
    double range = 0;
    bool is_down = false; ///< goes further down than up after the firing
};

Drawn drawn_of(const Trace& trace) {
    double low = kInfinity, high = -kInfinity, up = 0, down = 0;
    for (std::size_t i = 0; i < trace.y.size(); ++i) {
        const double value = trace.y[i];
        if (!std::isfinite(value)) continue;
        low = std::min(low, value);
        high = std::max(high, value);
        if (trace.t[i] < 0) continue;
        up = std::max(up, value);
        down = std::max(down, -value);
    }
    return {high - low, down > up};
}

/// What checks allow of the figure that stands beside a strip, as far as it lies near enough to be drawn with it.
/// `unit`: that in which the trace is shown, whose own is `unit_of_trace`.
std::vector<StripLimit> limits_of(const Procedure* procedure, const Firing& firing, const PictureStrip& wanted,
                                  const Drawn& drawn, const ShownUnit& unit, const std::string& unit_of_trace) {
    std::vector<StripLimit> limits;
    const auto place = number_column(firing.row.table(), wanted.figure);
    if (procedure == nullptr || !place) return limits;
    // A turn rate is recorded in rad/s, and found in degrees.
    const std::string& own = firing.row.table().columns[*place].unit;
    const double gain = own == unit_of_trace ? unit.gain : shown_unit(own).gain;
    const double offset = wanted.over_before ? 0 : unit.offset;
    const double figure = gain * firing.row.value(wanted.figure);
    const double side = wanted.is_size && drawn.is_down ? -1 : 1;
    const auto add = [&](const char* word, const std::optional<double>& limit) {
        if (!limit || !(std::abs(gain * *limit - figure) <= std::max(std::abs(figure), drawn.range))) return;
        const double shown = gain * *limit + offset;
        limits.push_back({side * shown, fmt::format("{} {:.6g}\u00a0{}", word, shown, unit.symbol)});
    };
    for (const Check& check : procedure->checks) {
        const bool is_of_figure = check.subject == CheckSubject::value && check.measure == Measure::newest &&
                                  check.from.empty() && check.value.table == "charge/" + firing.charge &&
                                  check.value.columns == std::vector<std::string>{wanted.figure};
        if (!is_of_figure) continue;
        add("least", check.least);
        add("most", check.most);
    }
    return limits;
}

Strip strip_of_firing(const Recorded& recorded, const Firing& firing, const PictureStrip& wanted,
                      const ColumnPlace& place, Window window, const Procedure* procedure) {
    Trace trace = recorded.trace(place, window, firing.row.t_ns(), kPicturePoints);
    const double before = mean_before(trace);
    const double zero = wanted.over_before && std::isfinite(before) ? before : 0;
    double largest = 0;
    for (double& value : trace.y) {
        value -= zero;
        if (std::isfinite(value)) largest = std::max(largest, std::abs(value));
    }
    const ShownUnit unit = shown_unit_near(place.about().unit, largest);
    for (double& value : trace.y) value = unit.gain * value + (wanted.over_before ? 0 : unit.offset);
    for (double& value : trace.low) value = unit.gain * (value - zero) + (wanted.over_before ? 0 : unit.offset);
    for (double& value : trace.high) value = unit.gain * (value - zero) + (wanted.over_before ? 0 : unit.offset);
    for (double& t : trace.t) t *= 1e3;
    const Drawn drawn = drawn_of(trace);
    Strip strip{.title = wanted.title, .figure = figure_of(firing, wanted.figure), .lines = {{std::move(trace)}}};
    strip.note = "axis in " + unit.symbol;
    strip.limits = limits_of(procedure, firing, wanted, drawn, unit, place.about().unit);
    if (wanted.figure_at != nullptr)
        if (const std::string at = figure_of(firing, wanted.figure_at); !at.empty())
            strip.note = "at " + at + ", " + strip.note;
    return strip;
}

/// Side by side as they follow each other, as many as a page is wide.
Markup edges_tables(const std::vector<FoundEdge>& edges) {
    Markup tables;
    for (std::size_t first = 0; first < edges.size(); first += kEdgesInRow) {
        std::vector<LedgerTable::Column> names{{"Edges found"}};
        std::vector<Markup> times{note("after the firing")};
        for (std::size_t i = first; i < std::min(edges.size(), first + kEdgesInRow); ++i) {
            names.push_back({fmt::format("{}\u00a0{}", i + 1, edges[i].name), true});
            times.push_back(strong(quantity_near(edges[i].after_s, edges[i].sigma_s, 4, "s")));
        }
        LedgerTable table(std::move(names));
        table.row(std::move(times));
        tables += table.markup();
    }
    return tables;
}

} // namespace

std::vector<FoundEdge> edges_of(const Recorded& recorded, const Firing& firing) {
    // The events come after the firing, as soon as enough of the record is there.
    constexpr std::int64_t kFoundWithinNs = 60 * kNsPerS;
    std::vector<FoundEdge> edges;
    for (const Event& event : recorded.events()) {
        if (what(event) != "edge_found" || event.vehicle != static_cast<int>(firing.vehicle) ||
            text_in(event, "charge") != firing.charge || event.t_found_ns < firing.row.t_ns() ||
            event.t_found_ns > firing.row.t_ns() + kFoundWithinNs)
            continue;
        std::string name = text_in(event, "edge");
        std::ranges::replace(name, '_', ' ');
        edges.push_back({name, number_in(event, "after_s"), number_in(event, "sigma_s")});
    }
    std::ranges::stable_sort(edges, {}, &FoundEdge::after_s);
    return edges;
}

Markup charge_picture(const Recorded& recorded, const Firing& firing, const Procedure* procedure) {
    const std::vector<FoundEdge> edges = edges_of(recorded, firing);
    StripChart chart;
    chart.from = -kBefore_ms;
    chart.to = kAfterLeast_ms;
    // What comes back to what it was takes its time, and would press all else together.
    for (const FoundEdge& edge : edges)
        if (1.2e3 * edge.after_s < kAfterMost_ms) chart.to = std::max(chart.to, 1.2e3 * edge.after_s);
    chart.axis_unit = "ms";
    chart.strip_height = 88;
    const auto at = [&](double ms) { return firing.row.t_ns() + seconds_to_ns(1e-3 * ms); };
    const Window window{at(chart.from), at(chart.to) + 1};
    for (const PictureStrip& wanted : kPictureStrips)
        if (const auto place = recorded.with_rows(firing.vehicle, wanted.roles, window, 3))
            chart.strips.push_back(strip_of_firing(recorded, firing, wanted, *place, window, procedure));
    for (std::size_t i = 0; i < edges.size(); ++i)
        chart.marks.push_back({1e3 * edges[i].after_s, std::to_string(i + 1)});
    if (chart.strips.empty()) return {};
    return drawn(chart) + edges_tables(edges);
}

} // namespace turnstone::report
