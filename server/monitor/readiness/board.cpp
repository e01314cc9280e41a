#include "server/monitor/readiness/board.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "server/pipeline/events.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kLeftFoundWithin_s = 15; // after it has left
/// The time of a liftoff is known to about a tenth of a second, and thrust may build up before it.
constexpr double kJustBefore_s = 0.5;

} // namespace

ReadinessBoard::ReadinessBoard(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle, Logbook& book,
                               std::int64_t t_start_ns)
    : readiness_(&*setup.vehicles[vehicle].readiness), vehicle_(checked_vehicle(setup, vehicle)), book_(&book),
      checks_(setup, schema, vehicle, checks_of(*readiness_), "", book) {
    checks_.begin(t_start_ns);
}

bool ReadinessBoard::has_statement(std::string_view check) const {
    return std::ranges::any_of(
        checks_.checks(),
        [&](const WatchedCheck& each) {
            return each.check().id == check && each.check().subject == CheckSubject::statement;
        });
}

void ReadinessBoard::see(Batch& batch, Marks from, Poll& poll, bool carried, std::int64_t t_ns) {
    if (!has_left_) checks_.see(batch, from);
    const std::size_t count = batch.events.size();
    for (std::size_t k = from.events; k < count; ++k) {
        if (batch.events[k].vehicle != vehicle_.index) continue;
        const EventId id = batch.events[k].id.value_or(EventId::note);
        if (id == EventId::liftoff || id == EventId::joined_in_flight) {
            leave(batch.events[k].t_ns, t_ns, poll, carried, batch);
        } else if (has_left_ && (id == EventId::ready_again || id == EventId::false_liftoff)) {
            has_left_ = false;
            forget_what_was_said(poll); // in flight too
            stood_.clear();
            checks_.begin(t_ns);
        }
    }
}

void ReadinessBoard::leave(std::int64_t t_event_ns, std::int64_t t_ns, Poll& poll, bool carried, Batch& out) {
    if (has_left_) return;
    has_left_ = true;
    std::vector<std::string> why_not = reasons_before(t_event_ns, poll);
    verdict_ = {.vehicle = vehicle_.name, .ready = why_not.empty(), .reasons = std::move(why_not), .t_ns = t_event_ns};
    if (!carried) say_verdict(t_event_ns, t_ns, out);
    ready_ = false;
    forget_what_was_said(poll);
    checks_.write_now(t_ns, std::array{0.0}, out);
}

void ReadinessBoard::forget_what_was_said(Poll& poll) {
    poll.forget(readiness_->positions);
    for (const WatchedCheck& each : checks_.checks())
        if (each.check().subject == CheckSubject::statement) book_->forget(vehicle_.name, each.check().id);
}

void ReadinessBoard::say_verdict(std::int64_t t_event_ns, std::int64_t t_ns, Batch& out) const {
    EventValues values{{"ready", verdict_.ready}};
    if (!verdict_.ready) values.push_back({"reasons", verdict_.reasons});
    say(EventId::readiness_at_liftoff, t_event_ns, t_ns, std::move(values), out);
}

std::optional<CarriedVerdict> ReadinessBoard::carried() const {
    return has_left_ ? std::optional(verdict_) : std::nullopt;
}

void ReadinessBoard::take(const CarriedVerdict& verdict, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out) {
    if (!has_left_) return; // its flight is not in what was carried
    verdict_ = verdict;
    say_verdict(std::clamp(verdict.t_ns, t_start_ns, t_ns), t_ns, out);
}

void ReadinessBoard::tick(std::int64_t t_ns, const Poll& poll, Batch& out) {
    if (has_left_) return;
    checks_.judge(t_ns, out);
    decide(t_ns, poll, out);
    checks_.write(t_ns, std::array{ready_ ? 1.0 : 0.0}, out);
}

void ReadinessBoard::look_again(std::int64_t t_ns, const Poll& poll, Batch& out) {
    if (has_left_) return;
    checks_.judge(t_ns, out);
    decide(t_ns, poll, out);
}

void ReadinessBoard::decide(std::int64_t t_ns, const Poll& poll, Batch& out) {
    std::vector<std::string> why_not = reasons(poll);
    remember(t_ns, why_not);
    if (ready_ == why_not.empty()) return;
    ready_ = why_not.empty();
    EventValues values;
    if (!ready_) values.push_back({"reasons", std::move(why_not)});
    say(ready_ ? EventId::ready : EventId::not_ready, t_ns, t_ns, std::move(values), out);
}

std::vector<std::string> ReadinessBoard::reasons(const Poll& poll) const {
    std::vector<std::string> out;
    for (const WatchedCheck& each : checks_.checks())
        if (each.check().severity == Severity::must && each.finding().state != CheckState::holds)
            out.push_back(reason_of(each));
    for (std::string& reason : poll.reasons(readiness_->positions)) out.push_back(std::move(reason));
    return out;
}

void ReadinessBoard::remember(std::int64_t t_ns, const std::vector<std::string>& why_not) {
    if (stood_.empty() || stood_.back().why_not != why_not) stood_.push_back({t_ns, why_not});
    while (stood_.size() > 1 && stood_[1].t_ns < t_ns - seconds_to_ns(kLeftFoundWithin_s)) stood_.erase(stood_.begin());
}

std::vector<std::string> ReadinessBoard::reasons_before(std::int64_t t_ns, const Poll& poll) const {
    for (auto stood = stood_.rbegin(); stood != stood_.rend(); ++stood)
        if (stood->t_ns <= t_ns - seconds_to_ns(kJustBefore_s)) return stood->why_not;
    return reasons(poll);
}

void ReadinessBoard::say(EventId id, std::int64_t t_event_ns, std::int64_t t_ns, EventValues values, Batch& out) const {
    if (checks_.rests_on_predictions()) values.push_back({"predicted", true});
    out.events.push_back(
        make_event({.id = id, .t_ns = t_event_ns, .values = std::move(values)}, t_ns, {vehicle_.index, vehicle_.name}));
}

void ReadinessBoard::recall(const Event& event) {
    if (event.vehicle != vehicle_.index) return;
    if (event.id == EventId::ready || event.id == EventId::not_ready) ready_ = event.id == EventId::ready;
    if (event.id == EventId::readiness_at_liftoff) ready_ = false;
    if (event.id != EventId::check_decided) return;
    const auto text = [&](std::string_view name) {
        for (const EventValue& value : event.values)
            if (value.name == name && std::holds_alternative<std::string>(value.value))
                return std::get<std::string>(value.value);
        return std::string();
    };
    if (const auto state = from_word<CheckState>(text("state"))) checks_.recall(text("check"), *state, text("why"));
}

} // namespace turnstone
