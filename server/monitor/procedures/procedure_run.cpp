#include "server/monitor/procedures/procedure_run.hpp"

#include <algorithm>
#include <utility>

namespace turnstone {

namespace {

std::vector<const Check*> pointers_to(const std::vector<Check>& checks) {
    std::vector<const Check*> out;
    for (const Check& check : checks) out.push_back(&check);
    return out;
}

bool is_over(StepState state) {
    return state == StepState::done || state == StepState::waived;
}

} // namespace

ProcedureRun::ProcedureRun(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle,
                           const Procedure& procedure, Logbook& book)
    : procedure_(&procedure), vehicle_(checked_vehicle(setup, vehicle)), book_(&book),
      checks_(setup, schema, vehicle, pointers_to(procedure.checks), procedure.id, book),
      steps_(procedure.steps.size()) {}

std::optional<std::size_t> ProcedureRun::step_under_way() const {
    for (std::size_t k = 0; k < steps_.size(); ++k)
        if (!is_over(steps_[k].state)) return k;
    return std::nullopt;
}

void ProcedureRun::begin(const std::string& by, double run, std::int64_t t_ns, Batch& out) {
    under_way_ = true;
    by_ = by;
    run_ = run;
    t_begun_ns_ = t_ns;
    std::ranges::fill(steps_, StepNow{});
    checks_.begin(t_ns);
    book_->begun(vehicle_.name, procedure_->id, run);
    say_begun(t_ns, t_ns, out);
}

void ProcedureRun::say_begun(std::int64_t t_event_ns, std::int64_t t_ns, Batch& out) const {
    out.events.push_back(make_event(
        {.id = EventId::procedure_begun,
         .t_ns = t_event_ns,
         .about = procedure_->id,
         .values = {{"procedure", procedure_->id}, {"title", procedure_->title}, {"by", by_}, {"run", run_}}},
        t_ns, vehicle()));
}

void ProcedureRun::say(EventId id, std::size_t step, std::int64_t t_ns, Batch& out, std::vector<std::string> reasons) {
    const Step& about = procedure_->steps[step];
    EventValues values{{"procedure", procedure_->id}, {"step", about.id}, {"title", about.title}};
    if (reasons.empty()) {
        values.push_back({"by", steps_[step].by});
        values.push_back({"note", steps_[step].note});
    } else {
        values.push_back({"reasons", std::move(reasons)});
    }
    out.events.push_back(
        make_event({.id = id, .t_ns = t_ns, .about = procedure_->id + "/" + about.id, .values = std::move(values)},
                   t_ns, vehicle()));
}

std::vector<std::string> ProcedureRun::reasons_to_hold(const Step& step) const {
    std::vector<std::string> out;
    for (const std::size_t place : step.checks) {
        const WatchedCheck& each = checks_.checks()[place];
        if (each.check().severity == Severity::must && each.finding().state != CheckState::holds)
            out.push_back(reason_of(each));
    }
    return out;
}

void ProcedureRun::finish(std::size_t step, StepState state, const std::string& by, const std::string& note,
                          std::int64_t t_ns, Batch& out) {
    for (const std::size_t place : procedure_->steps[step].checks) checks_.checks()[place].close(t_ns);
    checks_.say(t_ns, out);
    steps_[step] = {.state = state, .by = by, .note = note};
    say(state == StepState::done ? EventId::step_done : EventId::step_waived, step, t_ns, out);
}

void ProcedureRun::take(const StepCommand& command, std::int64_t t_ns, Batch& out) {
    const auto found = std::ranges::find(procedure_->steps, command.step, &Step::id);
    if (!under_way_ || found == procedure_->steps.end()) return;
    const auto step = static_cast<std::size_t>(found - procedure_->steps.begin());
    if (command.deed == StepDeed::repeat) {
        if (!is_over(steps_[step].state)) return;
        steps_[step] = {.state = StepState::ahead, .by = command.by, .note = command.note};
        for (const std::size_t place : found->checks) checks_.checks()[place].begin_again(t_ns);
        say(EventId::step_repeated, step, t_ns, out);
        checks_.say(t_ns, out);
        return;
    }
    if (step_under_way() != step) return;
    if (command.deed == StepDeed::waive) {
        if (!command.note.empty()) finish(step, StepState::waived, command.by, command.note, t_ns, out);
        return;
    }
    const bool holds_back = found->kind == StepKind::hold || found->kind == StepKind::wait_for;
    if (auto reasons = holds_back ? reasons_to_hold(*found) : std::vector<std::string>(); !reasons.empty())
        say(EventId::step_held, step, t_ns, out, std::move(reasons));
    else
        finish(step, StepState::done, command.by, command.note, t_ns, out);
}

bool ProcedureRun::has_statement(std::string_view check) const {
    return under_way_ && std::ranges::any_of(
                             checks_.checks(),
                             [&](const WatchedCheck& each) {
                                 return each.check().id == check && each.check().subject == CheckSubject::statement &&
                                        !each.is_closed();
                             });
}

std::string_view ProcedureRun::verdict() const {
    bool fails = false, all = true;
    for (std::size_t k = 0; k < steps_.size(); ++k) {
        if (steps_[k].state == StepState::waived) continue;
        all = all && steps_[k].state == StepState::done;
        for (const std::size_t place : procedure_->steps[k].checks) {
            const WatchedCheck& each = checks_.checks()[place];
            if (each.check().severity != Severity::must) continue;
            fails = fails || each.finding().state == CheckState::fails;
            all = all && each.finding().state == CheckState::holds;
        }
    }
    return fails ? "failed" : all ? "passed" : "incomplete";
}

void ProcedureRun::end(const std::string& by, std::int64_t t_ns, Batch& out) {
    if (!under_way_) return;
    for (WatchedCheck& each : checks_.checks()) each.close(t_ns);
    checks_.say(t_ns, out);
    checks_.write_now(t_ns, {}, out);
    under_way_ = false;
    const std::string said(verdict());
    std::vector<std::string> waived;
    for (std::size_t k = 0; k < steps_.size(); ++k)
        if (steps_[k].state == StepState::waived) waived.push_back(procedure_->steps[k].title);
    EventValues values{{"procedure", procedure_->id}, {"title", procedure_->title}, {"by", by}, {"verdict", said}};
    if (!waived.empty()) values.push_back({"waived", waived});
    if (said == "passed") book_->passed(vehicle_.name, procedure_->id, t_ns, std::move(waived));
    if (said == "failed") book_->failed(vehicle_.name, procedure_->id, t_ns);
    out.events.push_back(
        make_event({.id = EventId::procedure_ended, .t_ns = t_ns, .about = procedure_->id, .values = std::move(values)},
                   t_ns, vehicle()));
}

void ProcedureRun::see(const Batch& batch, Marks from) {
    if (under_way_) checks_.see(batch, from);
}

void ProcedureRun::look_again(std::int64_t t_ns, Batch& out) {
    if (under_way_) checks_.judge(t_ns, out);
}

void ProcedureRun::tick(std::int64_t t_ns, std::optional<std::int64_t> zero_ns, Batch& out) {
    if (!under_way_) return;
    checks_.judge(t_ns, out);
    if (const auto step = step_under_way()) {
        const Step& now = procedure_->steps[*step];
        const bool has_come = now.kind == StepKind::wait_for && reasons_to_hold(now).empty();
        const bool is_zero = now.kind == StepKind::countdown && zero_ns && *zero_ns <= t_ns && *zero_ns >= t_begun_ns_;
        if (has_come || is_zero) finish(*step, StepState::done, "", "", t_ns, out);
    }
    checks_.write(t_ns, {}, out);
}

CarriedProcedure ProcedureRun::carried() const {
    CarriedProcedure out{
        .vehicle = vehicle_.name, .procedure = procedure_->id, .by = by_, .run = run_, .t_begun_ns = t_begun_ns_};
    for (std::size_t k = 0; k < steps_.size(); ++k)
        out.steps.push_back(
            {.id = procedure_->steps[k].id, .state = steps_[k].state, .by = steps_[k].by, .note = steps_[k].note});
    for (const WatchedCheck& each : checks_.checks()) out.checks.push_back(each.carried());
    return out;
}

void ProcedureRun::carry(const CarriedProcedure& before, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out) {
    under_way_ = true;
    by_ = before.by;
    run_ = before.run;
    t_begun_ns_ = before.t_begun_ns;
    book_->begun(vehicle_.name, procedure_->id, run_);
    std::ranges::fill(steps_, StepNow{});
    checks_.begin(t_begun_ns_);
    say_begun(std::clamp(t_begun_ns_, t_start_ns, t_ns), t_ns, out);
    std::vector<bool> closed(procedure_->checks.size());
    for (const CarriedStep& step : before.steps) {
        const auto known = std::ranges::find(procedure_->steps, step.id, &Step::id);
        if (known == procedure_->steps.end() || !is_over(step.state)) continue;
        const auto place = static_cast<std::size_t>(known - procedure_->steps.begin());
        steps_[place] = {.state = step.state, .by = step.by, .note = step.note};
        for (const std::size_t check : known->checks) closed[check] = true;
        say(step.state == StepState::done ? EventId::step_done : EventId::step_waived, place, t_ns, out);
    }
    for (const CarriedCheck& check : before.checks)
        for (std::size_t k = 0; k < procedure_->checks.size(); ++k)
            if (procedure_->checks[k].id == check.id) checks_.checks()[k].carry(check, closed[k]);
    checks_.say(t_ns, out);
}

} // namespace turnstone
