#include "server/report/ground/checks.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "server/pipeline/checklist/check_tables.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

/// As limits are said, so that the two can be held against each other: short times in milliseconds.
ShownUnit unit_of(const Column& column, double value) {
    return column.unit == "s" ? shown_unit_near(column.unit, value) : shown_unit(column.unit);
}

/// The word where the column has words.
std::string said(double value, const Column& column, bool is_difference) {
    if (std::isnan(value)) return {};
    if (is_difference && column.unit == "K") return fixed(value, column.decimals) + "\u00a0K";
    for (const auto& [number, word] : column.enumeration)
        if (static_cast<double>(number) == value) return word;
    const ShownUnit unit = unit_of(column, value);
    const std::string figure = fixed(unit.shown(value), shown_decimals(unit, column.decimals));
    return unit.symbol.empty() ? figure : figure + (unit.symbol == "°" ? "" : "\u00a0") + unit.symbol;
}

/// A margin is a difference: its unit has no zero of its own.
std::string said_margin(double margin, const Column& column) {
    if (std::isnan(margin)) return {};
    ShownUnit unit = unit_of(column, margin);
    if (column.unit == "K") unit.symbol = "K";
    const std::string figure = fixed(unit.gain * margin, shown_decimals(unit, column.decimals));
    return unit.symbol.empty() ? figure : figure + (unit.symbol == "°" ? "" : "\u00a0") + unit.symbol;
}

/// The last event of that check in the window.
const Event* last_of(const Recorded& recorded, std::string_view what_happened, const std::string& check,
                     const std::string& procedure, std::size_t vehicle, Window window) {
    const Event* last = nullptr;
    for (const Event& event : recorded.events())
        if (what(event) == what_happened && event.t_ns >= window.from_ns && event.t_ns < window.to_ns &&
            (event.vehicle < 0 || event.vehicle == static_cast<int>(vehicle)) && text_in(event, "check") == check &&
            text_in(event, "procedure") == procedure)
            last = &event;
    return last;
}

std::string said_in(const Event& statement) {
    const std::string by = text_in(statement, "by");
    const std::string note = text_in(statement, "note");
    return (by.empty() ? "" : "by " + by) + (by.empty() || note.empty() ? "" : ": ") + note;
}

/// Thick line: how much of the room to the limit is left. The bar at its left end is the limit.
Markup margin_bar(const CheckResult& result) {
    if (std::isnan(result.margin) || !(result.room > 0)) return {};
    constexpr double kLeft = 4;
    constexpr double kLength = 66;
    const double end = kLeft + kLength * std::clamp(result.margin / result.room, 0.0, 1.0);
    return Markup::of_numbers(fmt::format(
        "<svg class=\"margin\" viewBox=\"0 0 74 14\" aria-hidden=\"true\"><path class=\"frame\" d=\"M{0} 7H{1}\"/>"
        "<path class=\"room\" d=\"M{0} 7H{2:.1f}\"/><path class=\"bar\" d=\"M{0} 1V13\"/><path class=\"end\" "
        "d=\"M{2:.1f} "
        "3V11\"/></svg>",
        kLeft, kLeft + kLength, end));
}

Markup state_markup(const CheckResult& result) {
    const bool must = result.severity == Severity::must;
    switch (result.state) {
    case CheckState::holds: return note("holds");
    case CheckState::fails: return must ? element("span.warning", "fails") : element("span.caution", "fails");
    case CheckState::waits: return must ? element("span.caution", "waits") : Markup("waits");
    case CheckState::not_evaluated: break;
    }
    return must ? element("span.caution", "not evaluated") : Markup("not evaluated");
}

} // namespace

std::vector<CheckResult> check_results(const Recorded& recorded, std::size_t vehicle, const std::vector<Check>& checks,
                                       const std::string& procedure, Window window) {
    const Table* table = recorded.table(vehicle, procedure.empty() ? "readiness" : "procedure/" + procedure);
    const auto row = recorded.row_at(table, window.to_ns - 1);
    const bool has_row = row && row->t_ns() >= window.from_ns;
    std::vector<CheckResult> results;
    for (const Check& check : checks) {
        CheckResult result;
        result.id = check.id;
        result.title = check.title;
        result.why = check.why;
        result.severity = check.severity;
        result.room = room_of(check).value_or(kUnknown);
        result.margin = kUnknown;
        const auto place = recorded.column(table, check.id);
        const Column column = place ? place->about() : Column{};
        result.required = required_text(check, column.unit, column.decimals, column.enumeration);
        double measured = kUnknown;
        std::optional<CheckState> state;
        const Event* decided = last_of(recorded, "check_decided", check.id, procedure, vehicle, window);
        if (decided != nullptr) {
            state = from_word<CheckState>(text_in(*decided, "state"));
            result.reason = text_in(*decided, "why");
            if (const std::string required = text_in(*decided, "required"); !required.empty())
                result.required = required;
            measured = number_in(*decided, "measured");
            result.changed_ns = decided->t_ns;
            result.measured_at_change = said(measured, column, is_difference(check));
            result.margin = number_in(*decided, "margin");
        }
        // The event tells only of a change of state or of its reason; what has drifted since stands in the rows.
        if (has_row && (decided == nullptr || row->t_ns() >= decided->t_ns))
            if (const auto newest = from_word<CheckState>(row->word_of(check.id + "_state"))) {
                state = newest;
                measured = row->value(check.id);
                result.margin = row->value(check.id + "_margin");
            }
        result.measured = said(measured, column, is_difference(check));
        result.margin_text = said_margin(result.margin, column);
        if (const Event* said_so = last_of(recorded, "statement", check.id, procedure, vehicle, window)) {
            const bool holds = flag_in(*said_so, "holds");
            if (!state) state = holds ? CheckState::holds : CheckState::fails;
            const bool counts = state == CheckState::holds || state == CheckState::fails;
            result.measured = counts ? (holds ? "confirmed" : "denied") : "";
            result.said = said_in(*said_so);
            result.margin_text.clear();
            result.margin = kUnknown;
        }
        result.state = state.value_or(CheckState::waits);
        results.push_back(std::move(result));
    }
    return results;
}

Markup checks_table(const std::vector<CheckResult>& results) {
    LedgerTable table({{"Check"},
                       {"Required", true},
                       {"Measured", true},
                       {"Margin to the limit", false},
                       {"", true},
                       {"State", true}});
    for (const CheckResult& result : results) {
        Markup title = Markup::text(result.title);
        if (result.severity == Severity::should) title += note(" (should)");
        if (result.decided_badly() && !result.reason.empty())
            title += Markup("<br>") + note(result.reason);
        else if (result.decided_badly() && !result.why.empty())
            title += Markup("<br>") + note(result.why);
        if (!result.said.empty()) title += Markup("<br>") + note(result.said);
        std::vector<Markup> cells{title,
                                  note(result.required),
                                  strong(result.measured.empty() ? std::string(kNoFigure) : result.measured),
                                  margin_bar(result),
                                  Markup::text(result.margin_text),
                                  state_markup(result)};
        if (result.decided_badly())
            table.marked_row(std::move(cells));
        else
            table.row(std::move(cells));
    }
    return table.markup() + element("p.note",
                                    "Thick line: how much of the room to the limit is left; the bar at its left end is "
                                    "the limit.");
}

std::string checks_sentence(const std::vector<CheckResult>& results) {
    const auto holding = std::ranges::count(results, CheckState::holds, &CheckResult::state);
    std::string text = fmt::format("{} of {} checks hold.", holding, results.size());
    for (const CheckResult& result : results)
        if (result.state == CheckState::fails) text += fmt::format(" {} fails.", result.title);
    const CheckResult* least = nullptr;
    for (const CheckResult& result : results)
        if (result.state == CheckState::holds && result.room > 0 && !std::isnan(result.margin) &&
            (least == nullptr || result.margin / result.room < least->margin / least->room))
            least = &result;
    if (least != nullptr) text += fmt::format(" Least margin: {}, {}.", least->title, least->margin_text);
    return text;
}

} // namespace turnstone::report
