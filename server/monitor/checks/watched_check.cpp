#include "server/monitor/checks/watched_check.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "server/monitor/checks/event_gauges.hpp"
#include "server/monitor/checks/turn_gauge.hpp"
#include "server/monitor/checks/value_gauges.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Of a value without a limit of its own: five periods of its table, at least 3 s, as a link counts as silent then.
constexpr double kOldAfter_s = 3, kOldAfterPeriods = 5;
constexpr double kStationOldAfter_s = 300; // five times as often as the station reports

/// Where a person's reading may take a column's place, the file's limit is that reading's: a silent sensor gives way.
double age_limit_s(const Check& check, const CheckBinding& binding) {
    if (check.no_older_than_s && check.or_entered.empty()) return *check.no_older_than_s;
    if (check.subject == CheckSubject::station) return kStationOldAfter_s;
    const bool is_about_rows = check.subject == CheckSubject::value || check.subject == CheckSubject::says;
    const bool is_of_an_event = check.measure >= Measure::peak && check.measure <= Measure::back;
    if (!is_about_rows || is_of_an_event || binding.period_s <= 0) return kInfinity;
    return std::max(kOldAfter_s, kOldAfterPeriods * binding.period_s);
}

/// Without the age itself, which would be another reason with every second.
std::string too_old(double after_s) {
    return after_s < 600 ? fmt::format("older than {:.3g} s", after_s)
                         : fmt::format("older than {:.3g} min", after_s / 60);
}

} // namespace

WatchedCheck::WatchedCheck(const Check& check, CheckBinding binding, const CheckedVehicle& vehicle, const Logbook& book,
                           bool in_procedure)
    : check_(&check), binding_(std::move(binding)), old_after_s_(age_limit_s(check, binding_)) {
    if (in_procedure && binding_.from_predictions && binding_.why_not.empty())
        binding_.why_not = "it rests on predictions, which only a readiness board may use";
    if (!binding_.why_not.empty()) return;
    switch (check.subject) {
    case CheckSubject::value:
        for (const BoundColumns& value : binding_.value)
            gauges_.push_back(check.measure == Measure::turned
                                  ? make_turn_gauge(check, value, vehicle.name, book, in_procedure)
                              : is_about_event(check.measure) ? make_pulse_gauge(check, value, vehicle.index)
                                                              : make_value_gauge(check, binding_, value));
        if (!check.or_entered.empty()) otherwise_ = make_entered_gauge(check.or_entered, vehicle, book);
        break;
    case CheckSubject::event: gauges_.push_back(make_event_gauge(check, vehicle.index)); break;
    case CheckSubject::count: gauges_.push_back(make_count_gauge(check, vehicle.index)); break;
    case CheckSubject::gap:
        for (const BoundColumns& value : binding_.value) gauges_.push_back(make_gap_gauge(value));
        break;
    case CheckSubject::alert: gauges_.push_back(make_alert_gauge(check, vehicle, book)); break;
    case CheckSubject::passed: gauges_.push_back(make_passed_gauge(check.name, vehicle, book)); break;
    case CheckSubject::statement: gauges_.push_back(make_statement_gauge(check.id, vehicle, book, in_procedure)); break;
    case CheckSubject::entered: gauges_.push_back(make_entered_gauge(check.name, vehicle, book)); break;
    case CheckSubject::station: gauges_.push_back(make_station_gauge(check.station, book)); break;
    case CheckSubject::says:
        for (const BoundColumns& value : binding_.value) gauges_.push_back(make_text_gauge(value, binding_.text));
        break;
    }
}

std::vector<TableId> WatchedCheck::tables() const {
    std::vector<TableId> out;
    const auto add = [&](const BoundColumns& columns) {
        if (std::ranges::find(out, columns.table) == out.end()) out.push_back(columns.table);
    };
    if (!binding_.why_not.empty()) return out;
    for (const BoundColumns& columns : binding_.value) add(columns);
    if (binding_.from) add(*binding_.from);
    return out;
}

void WatchedCheck::begin(std::int64_t t_ns) {
    for (const auto& gauge : gauges_) gauge->begin(t_ns);
    if (otherwise_) otherwise_->begin(t_ns);
    forget();
}

void WatchedCheck::begin_again(std::int64_t t_ns) {
    for (const auto& gauge : gauges_) gauge->begin_again(t_ns);
    if (otherwise_) otherwise_->begin_again(t_ns);
    forget();
}

void WatchedCheck::forget() {
    finding_ = {};
    holds_since_ns_.reset();
    before_.reset();
    measured_ns_ = 0;
    closed_ = false;
}

void WatchedCheck::row(const Gauge::Row& row) {
    for (const auto& gauge : gauges_) gauge->row(row);
}

void WatchedCheck::event(const Event& event) {
    for (const auto& gauge : gauges_) gauge->event(event);
}

CheckFinding WatchedCheck::judge(const Reading& reading, std::int64_t t_ns, double old_after_s) const {
    CheckFinding out{.why = reading.why, .t_ns = reading.t_ns};
    if (!reading.known()) {
        if (reading.missed) out.state = CheckState::fails;
        if (reading.cannot) out.state = CheckState::not_evaluated;
        return out;
    }
    if (seconds_between(reading.t_ns, t_ns) > old_after_s) {
        out.why = too_old(old_after_s);
        return out;
    }
    out.measured = reading.value;
    out.margin = kInfinity;
    if (check_->least && reading.value - *check_->least < out.margin) {
        out.margin = reading.value - *check_->least;
        out.limit = *check_->least;
    }
    if (check_->most && *check_->most - reading.value < out.margin) {
        out.margin = *check_->most - reading.value;
        out.limit = *check_->most;
    }
    out.state = out.margin >= 0 ? CheckState::holds : CheckState::fails;
    // What has not happened often enough yet may still happen.
    if (check_->subject == CheckSubject::count && check_->least && reading.value < *check_->least && !closed_)
        out.state = CheckState::waits;
    return out;
}

CheckFinding WatchedCheck::find(std::int64_t t_ns) {
    if (!binding_.why_not.empty()) return {.state = CheckState::not_evaluated, .why = binding_.why_not, .t_ns = t_ns};
    std::optional<CheckFinding> best;
    const auto has_figures = [](const CheckFinding& found) { return !std::isnan(found.measured); };
    for (const auto& gauge : gauges_) {
        const Reading reading = gauge->at(t_ns);
        if (reading.known()) measured_ns_ = std::max(measured_ns_, reading.t_ns);
        CheckFinding found = judge(reading, t_ns, old_after_s_);
        const bool is_better = !best || (has_figures(found) && !(found.margin <= best->margin));
        if (is_better) best = std::move(found);
    }
    if (otherwise_ && (!best || !has_figures(*best))) {
        const Reading said = otherwise_->at(t_ns);
        CheckFinding entered = judge(said, t_ns, check_->no_older_than_s.value_or(kInfinity));
        // What the sensor said after the entry is newer knowledge, also when it is old.
        if (!best || (has_figures(entered) && said.t_ns >= measured_ns_)) best = std::move(entered);
    }
    if (!best) return {.why = "nothing to measure"};
    const bool says_nothing = best->state == CheckState::waits && !has_figures(*best);
    if (before_ && says_nothing && seconds_between(before_->t_ns, t_ns) <= old_after_s_)
        return judge(Reading{.value = before_->measured.value_or(kNaN), .t_ns = before_->t_ns, .why = best->why}, t_ns,
                     old_after_s_);
    return *best;
}

void WatchedCheck::judge(std::int64_t t_ns) {
    if (!closed_) settle(find(t_ns), t_ns);
}

void WatchedCheck::settle(CheckFinding found, std::int64_t t_ns) {
    if (finding_.state == CheckState::fails && found.state == CheckState::holds) {
        if (!holds_since_ns_) holds_since_ns_ = t_ns;
        if (seconds_between(*holds_since_ns_, t_ns) < kHoldsAgainAfter_s) {
            found.state = CheckState::fails;
            found.why = "within its limits again, not for long enough";
        }
    } else {
        holds_since_ns_.reset();
    }
    finding_ = std::move(found);
}

void WatchedCheck::close(std::int64_t t_ns) {
    if (closed_) return;
    closed_ = true;
    settle(find(t_ns), t_ns);
    if (finding_.state == CheckState::waits) finding_.state = CheckState::not_evaluated;
}

CarriedCheck WatchedCheck::carried() const {
    CarriedCheck out{.id = check_->id, .state = finding_.state, .t_ns = finding_.t_ns, .why = finding_.why};
    if (std::isfinite(finding_.measured)) out.measured = finding_.measured;
    if (std::isfinite(finding_.margin)) out.margin = finding_.margin;
    return out;
}

std::optional<Baseline> WatchedCheck::baseline() const {
    for (const auto& gauge : gauges_)
        if (auto out = gauge->baseline()) return out;
    if (otherwise_ && measured_ns_ > 0) return Baseline{measured_ns_};
    return {};
}

void WatchedCheck::measure_from(const Baseline& before) {
    for (const auto& gauge : gauges_) gauge->measure_from(before);
    if (before.values.empty()) measured_ns_ = std::max(measured_ns_, before.t_ns);
}

void WatchedCheck::carry(const CarriedCheck& before, bool closed) {
    finding_.state = before.state;
    finding_.measured = before.measured.value_or(kNaN);
    finding_.margin = before.margin.value_or(kNaN);
    finding_.t_ns = before.t_ns;
    finding_.why = before.why;
    closed_ = closed;
    if (!before.measured || closed) return;
    before_ = before;
    for (const auto& gauge : gauges_) gauge->go_on_from(*before.measured);
}

} // namespace turnstone
