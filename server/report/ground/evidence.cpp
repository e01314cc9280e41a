#include "server/report/ground/evidence.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "server/analysis/statistics/summary.hpp"
#include "server/pipeline/checklist/binding.hpp"
#include "server/pipeline/checklist/check_tables.hpp"
#include "server/report/chapters/clock.hpp"
#include "server/report/draw/strip_chart.hpp"
#include "server/report/page/page.hpp"
#include "server/report/text/figure.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr double kBefore_s = 10;
constexpr double kBeforeMost_s = 120;
constexpr double kAfter_s = 5;
constexpr double kEventRoom = 0.15; ///< of what is looked at about an event, on either side
constexpr std::size_t kEvidencePoints = 400;
constexpr double kEvidenceHeight = 66;
constexpr double kDated_s = 0.1;         ///< of a liftoff that closes a check, about: its first thrust is not evidence
constexpr double kRowsBridgedOver = 3.5; ///< periods of the table; more are a break

/// Whether the limits are on values of the column, so that they can be drawn with it.
bool is_of_values(const Check& check) {
    return check.measure == Measure::newest || check.measure == Measure::mean || check.measure == Measure::greatest ||
           check.measure == Measure::least;
}

/// Columns of one table: one, or the components of a vector whose length is drawn.
struct LookedAt {
    const Table* table;
    std::vector<std::size_t> columns;
    bool measured = false; ///< by the check itself, over time
    [[nodiscard]] const Column& about() const { return table->columns[columns.front()]; }
};

/// The columns that the check names; empty where there is another value for them, or none.
std::optional<LookedAt> named_columns(const Recorded& recorded, const DecidedCheck& decided) {
    const Check& check = decided.check;
    if (check.subject != CheckSubject::value || check.value.empty() || !check.from.empty() ||
        !check.or_entered.empty() || check.value.link == "any" ||
        !(is_of_values(check) || is_about_event(check.measure)))
        return std::nullopt;
    const std::string& vehicle =
        check.value.vehicle.empty() ? recorded.vehicle_name(decided.vehicle) : check.value.vehicle;
    LookedAt looked{.table = recorded.table(check.value.link.empty() ? vehicle + "/" + check.value.table
                                                                     : "link/" + check.value.link),
                    .columns = {}};
    if (looked.table == nullptr) return std::nullopt;
    for (const std::string& name : check.value.columns) {
        const auto place = number_column(*looked.table, name);
        if (!place) return std::nullopt;
        looked.columns.push_back(*place);
    }
    return looked;
}

std::optional<LookedAt> measured_column(const Recorded& recorded, const DecidedCheck& decided) {
    const CheckSubject subject = decided.check.subject;
    if (subject != CheckSubject::value && subject != CheckSubject::gap && subject != CheckSubject::station)
        return std::nullopt;
    const Table* table =
        recorded.table(decided.vehicle, decided.procedure.empty() ? "readiness" : "procedure/" + decided.procedure);
    const auto place = recorded.column(table, decided.check.id);
    if (!place) return std::nullopt;
    return LookedAt{.table = table, .columns = {place->column}, .measured = true};
}

/// At most `points` of them and one, each with the extremes of those that became one: none has rows from before and
/// after `split`.
Trace reduced(const Trace& all, double from, double to, std::size_t points, double split) {
    if (all.t.size() <= points) return all;
    Trace out;
    const double bin = (to - from) / static_cast<double>(points);
    const auto bin_of = [&](double t) { return std::floor((t - from) / bin); };
    for (std::size_t i = 0; i < all.t.size();) {
        const double t = all.t[i];
        double last = t;
        double sum = 0, low = kNaN, high = kNaN;
        std::size_t rows = 0, known = 0;
        for (; i < all.t.size() && bin_of(all.t[i]) == bin_of(t) && (all.t[i] > split) == (t > split); ++i, ++rows) {
            last = all.t[i];
            if (std::isnan(all.y[i])) continue;
            sum += all.y[i];
            low = std::fmin(low, all.y[i]);
            high = std::fmax(high, all.y[i]);
            ++known;
        }
        out.t.push_back(rows > 1 ? std::clamp(from + bin * (bin_of(t) + 0.5), t, last) : t);
        out.y.push_back(known > 0 ? sum / static_cast<double>(known) : kNaN);
        out.low.push_back(low);
        out.high.push_back(high);
    }
    return out;
}

/// Every row, in seconds since `origin_ns`: the length of the columns where they are several.
Trace trace_of(const Recorded& recorded, const LookedAt& looked, Window window, std::int64_t origin_ns) {
    const SeriesBlock block = recorded.rows(*looked.table, looked.columns, window);
    const double bridged_s = kRowsBridgedOver * looked.table->period_s;
    Trace all;
    for (std::size_t i = 0; i < block.rows; ++i) {
        double value = block.mean[i];
        if (looked.columns.size() > 1) {
            double squares = 0;
            for (std::size_t c = 0; c < looked.columns.size(); ++c)
                squares += block.mean[c * block.rows + i] * block.mean[c * block.rows + i];
            value = std::sqrt(squares);
        }
        const double t_s = seconds_between(origin_ns, block.t_ns[i]);
        if (bridged_s > 0 && !all.t.empty() && t_s - all.t.back() > bridged_s) {
            all.t.push_back(0.5 * (t_s + all.t.back()));
            all.y.push_back(kNaN);
        }
        all.t.push_back(t_s);
        all.y.push_back(value);
    }
    return all;
}

/// The event that the shape is taken about.
const Event* event_before(const Recorded& recorded, const DecidedCheck& decided, std::int64_t t_ns) {
    const Event* last = nullptr;
    if (!decided.check.after) return last;
    for (const Event& event : recorded.events())
        if (event.t_ns >= decided.window.from_ns && event.t_ns <= t_ns &&
            is_meant(*decided.check.after, event, static_cast<int>(decided.vehicle)))
            last = &event;
    return last;
}

struct Moment {
    std::int64_t t_ns; ///< of the decision
    Window window;
    const Event* event = nullptr; ///< that it is about
    std::string measured;
};

/// One that fails, or that is about an event, was decided when its state changed; others hold until they are closed.
Moment moment_of(const Recorded& recorded, const DecidedCheck& decided) {
    const Check& check = decided.check;
    const CheckResult& result = decided.result;
    const bool at_change = result.changed_ns && (result.state == CheckState::fails || is_about_event(check.measure));
    const Window whole = recorded.whole();
    Moment moment{.t_ns = at_change ? *result.changed_ns : std::min(decided.closed_ns, whole.to_ns - 1),
                  .window = {},
                  .measured = at_change ? result.measured_at_change : result.measured};
    const double before_s = std::clamp(1.2 * check.over_s, kBefore_s, kBeforeMost_s);
    moment.window = {moment.t_ns - seconds_to_ns(before_s), moment.t_ns + seconds_to_ns(kAfter_s)};
    moment.event = is_about_event(check.measure) ? event_before(recorded, decided, moment.t_ns) : nullptr;
    if (moment.event != nullptr) {
        const double room_s = kEventRoom * (check.baseline_s + check.within_s);
        const std::int64_t seen_ns = std::min(std::max(moment.event->t_ns + seconds_to_ns(check.within_s), moment.t_ns),
                                              moment.event->t_ns + seconds_to_ns(kBeforeMost_s));
        moment.window = {moment.event->t_ns - seconds_to_ns(std::min(check.baseline_s, kBeforeMost_s) + room_s),
                         seen_ns + seconds_to_ns(room_s)};
    }
    moment.window.from_ns = std::max(moment.window.from_ns, whole.from_ns);
    moment.window.to_ns = std::min(moment.window.to_ns, whole.to_ns);
    return moment;
}

/// What the limits are counted from; NaN: they are not on the values drawn.
double zero_of_limits(const Recorded& recorded, const DecidedCheck& decided, const LookedAt& looked,
                      const Moment& moment, const Trace& trace) {
    const Check& check = decided.check;
    if (looked.measured) return 0;
    if (is_of_values(check)) {
        if (!check.from_reference) return 0;
        return reference_value(*check.from_reference, recorded.setup().site).value_or(kNaN);
    }
    if (moment.event == nullptr ||
        (check.measure != Measure::change && check.measure != Measure::peak && check.measure != Measure::back))
        return kNaN;
    const double at_s = seconds_between(moment.t_ns, moment.event->t_ns);
    std::vector<double> before;
    for (std::size_t i = 0; i < trace.t.size(); ++i)
        if (trace.t[i] < at_s && trace.t[i] >= at_s - check.baseline_s && std::isfinite(trace.y[i]))
            before.push_back(trace.y[i]);
    return analysis::summarise(before).mean;
}

/// As the figures of checks are said.
ShownUnit shown_on_axis(const LookedAt& looked, const Check& check, const Trace& trace) {
    const std::string& unit = looked.about().unit;
    if (looked.measured && is_difference(check) && unit == "K") return {.symbol = "K"};
    double largest = 0;
    for (const double value : trace.y)
        if (std::isfinite(value)) largest = std::max(largest, std::abs(value));
    return unit == "s" ? shown_unit_near(unit, largest) : shown_unit(unit);
}

std::vector<StripLimit> limits_drawn(const Check& check, double zero, const ShownUnit& unit) {
    std::vector<StripLimit> limits;
    if (std::isnan(zero)) return limits;
    const auto add = [&](const char* word, std::optional<double> limit) {
        if (!limit) return;
        const double shown = unit.shown(zero + *limit);
        // As the file has it; counted from a figure that was measured or is a norm, rounded.
        const std::string figure = fmt::format("{:.{}g}", std::abs(shown), zero == 0 ? 6 : 4);
        limits.push_back({shown, fmt::format("{} {}{}{}{}", word, shown < 0 ? "−" : "", figure,
                                             unit.symbol == "°" ? "" : "\u00a0", unit.symbol)});
    };
    if (check.measure == Measure::back) {
        add("back above", -check.tolerance);
        add("back below", check.tolerance);
        return limits;
    }
    add("least", check.least);
    add("most", check.most);
    return limits;
}

/// The limits, and the unit of the axis where they do not say it.
std::string note_of(const std::string& required, const ShownUnit& unit) {
    return required.ends_with(unit.symbol) ? required : required + ", axis in " + unit.symbol;
}

std::string plain_word(const Event& event) {
    std::string text(what(event));
    std::ranges::replace(text, '_', ' ');
    return text;
}

void show_in(const ShownUnit& unit, Trace& trace) {
    for (auto* values : {&trace.y, &trace.low, &trace.high})
        for (double& value : *values) value = unit.shown(value);
}

} // namespace

Markup evidence_strip(const Recorded& recorded, const DecidedCheck& decided) {
    const CheckState state = decided.result.state;
    if (state != CheckState::holds && state != CheckState::fails) return {};
    auto looked = named_columns(recorded, decided);
    if (!looked && !is_about_event(decided.check.measure)) looked = measured_column(recorded, decided);
    if (!looked || !looked->about().enumeration.empty()) return {};
    const Moment moment = moment_of(recorded, decided);
    Trace trace = trace_of(recorded, *looked, moment.window, moment.t_ns);
    if (std::ranges::count_if(trace.y, [](double value) { return std::isfinite(value); }) < 2) return {};
    const double zero = zero_of_limits(recorded, decided, *looked, moment, trace);
    const ShownUnit unit = shown_on_axis(*looked, decided.check, trace);

    StripChart chart{.from = seconds_between(moment.t_ns, moment.window.from_ns),
                     .to = seconds_between(moment.t_ns, moment.window.to_ns),
                     .axis_unit = "s",
                     .strip_height = kEvidenceHeight};
    const double closed_s = seconds_between(moment.t_ns, decided.closed_ns) - kDated_s;
    trace = reduced(trace, chart.from, chart.to, kEvidencePoints, closed_s);
    show_in(unit, trace);
    Strip strip{.title = decided.result.title, .figure = moment.measured, .lines = {{std::move(trace)}}};
    strip.note = note_of(decided.result.required, unit);
    strip.limits = limits_drawn(decided.check, zero, unit);
    strip.scaled_to = closed_s;
    chart.strips.push_back(std::move(strip));
    if (moment.event != nullptr)
        chart.marks.push_back({seconds_between(moment.t_ns, moment.event->t_ns), plain_word(*moment.event)});
    const ReportClock clock(recorded, std::nullopt);
    chart.marks.push_back(
        {0, fmt::format("{} {}", state == CheckState::holds ? "holds" : "fails", clock.utc(moment.t_ns))});
    return element("figure", drawn(chart));
}

Markup evidence_chapter(std::string_view title, const Markup& strips) {
    if (strips.empty()) return {};
    return chapter(title,
                   strips + element("p.note", "0\u00a0s: when the check was decided. Broken lines: its limits. Shaded: "
                                              "between the extremes of what was too close together to draw. What came "
                                              "when it no longer counted may leave the picture."));
}

Markup evidence_chapter(const Recorded& recorded, const ProcedureRun& run) {
    if (run.procedure == nullptr) return {};
    Markup strips;
    for (std::size_t i = 0; i < run.checks.size(); ++i) {
        std::int64_t closed_ns = run.window.to_ns - 1;
        for (const StepResult& step : run.steps)
            if ((step.state == StepState::done || step.state == StepState::waived) &&
                std::ranges::count(step.step->checks, i) > 0)
                closed_ns = step.t_ns;
        strips += evidence_strip(recorded,
                                 {run.vehicle, run.procedure->checks[i], run.checks[i], run.id, closed_ns, run.window});
    }
    return evidence_chapter("Evidence", strips);
}

} // namespace turnstone::report
