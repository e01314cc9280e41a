#include "server/monitor/desk.hpp"

#include <algorithm>
#include <utility>

#include "server/pipeline/checklist/binding.hpp"
#include "server/pipeline/events.hpp"
#include "shared/time.hpp"

namespace turnstone {

Desk::Desk(const PipelineSetup& setup, const Schema& schema, std::int64_t t_start_ns)
    : setup_(&setup), t_start_ns_(t_start_ns), poll_(setup), procedures_(setup.vehicles.size()) {
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        for (const Procedure& procedure : setup.vehicles[v].procedures)
            procedures_[v].runs.emplace_back(setup, schema, v, procedure, book_);
        board_of_.push_back(boards_.size());
        if (setup.vehicles[v].readiness) boards_.emplace_back(setup, schema, v, book_, t_start_ns);
    }
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v)
        if (!setup.vehicles[v].readiness) board_of_[v] = boards_.size();
}

ProcedureRun* Desk::Procedures::under_way() {
    const auto found = std::ranges::find_if(runs, &ProcedureRun::is_under_way);
    return found == runs.end() ? nullptr : &*found;
}

ProcedureRun* Desk::Procedures::find(std::string_view id) {
    const auto found = std::ranges::find_if(runs, [&](const ProcedureRun& each) { return each.procedure().id == id; });
    return found == runs.end() ? nullptr : &*found;
}

std::optional<std::size_t> Desk::place_of(std::string_view vehicle) const {
    for (std::size_t v = 0; v < setup_->vehicles.size(); ++v)
        if (setup_->vehicles[v].dictionary.vehicle == vehicle) return v;
    return std::nullopt;
}

EventVehicle Desk::about(std::size_t vehicle) const {
    return {static_cast<int>(vehicle), setup_->vehicles[vehicle].dictionary.vehicle};
}

void Desk::see(Batch& batch, Marks from, std::int64_t t_ns) {
    for (std::size_t k = from.events; k < batch.events.size(); ++k) {
        book_.see(batch.events[k]);
        follow_countdown(batch.events[k]);
    }
    for (Procedures& procedures : procedures_)
        for (ProcedureRun& run : procedures.runs) run.see(batch, from);
    for (ReadinessBoard& board : boards_) board.see(batch, from, poll_, carries_, t_ns);
}

void Desk::follow_countdown(const Event& event) {
    if (event.kind != EventKind::countdown) return;
    if (event.id == EventId::countdown_held || event.id == EventId::countdown_off) zero_ns_.reset();
    if (event.id != EventId::countdown_runs) return;
    for (const EventValue& value : event.values)
        if (value.name == "left_s" && std::holds_alternative<double>(value.value))
            zero_ns_ = event.t_ns + seconds_to_ns(std::get<double>(value.value));
}

void Desk::tick(std::int64_t t_ns, Batch& out) {
    const Marks own = out.marks();
    for (Procedures& procedures : procedures_)
        for (ProcedureRun& run : procedures.runs) run.tick(t_ns, zero_ns_, out);
    for (ReadinessBoard& board : boards_) board.tick(t_ns, poll_, out);
    if (out.events.size() > own.events) see(out, {out.rows.size(), own.events}, t_ns);
}

/// Right after people said something: nobody is to read "ready" until the next tick, and a hold that waits for a
/// person is let go by what they say.
void Desk::look_again(std::int64_t t_ns, Batch& out) {
    for (ReadinessBoard& board : boards_) board.look_again(t_ns, poll_, out);
}

void Desk::take(const ProcedureCommand& command, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(command.vehicle);
    if (!vehicle) return;
    Procedures& procedures = procedures_[*vehicle];
    ProcedureRun* const run = procedures.find(command.procedure);
    if (run == nullptr) return;
    if (command.step == ProcedureStep::end) {
        run->end(command.by, t_ns, out);
    } else if (procedures.under_way() == nullptr) {
        const auto past = book_.past(command.vehicle, command.procedure);
        run->begin(command.by, past ? past->runs + 1 : 1, t_ns, out);
    }
    look_again(t_ns, out);
}

void Desk::take(const StepCommand& command, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(command.vehicle);
    if (!vehicle) return;
    if (ProcedureRun* const run = procedures_[*vehicle].under_way(); run != nullptr) run->take(command, t_ns, out);
}

void Desk::take(const CheckStatement& statement, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(statement.vehicle);
    if (!vehicle) return;
    ProcedureRun* const run = procedures_[*vehicle].under_way();
    const bool is_of_procedure = run != nullptr && run->has_statement(statement.check);
    const bool is_of_board =
        board_of_[*vehicle] < boards_.size() && boards_[board_of_[*vehicle]].has_statement(statement.check);
    if (!is_of_procedure && !is_of_board) return;
    book_.state(statement, t_ns);
    std::string title;
    const auto find_title = [&](const Check& check) {
        if (check.id == statement.check) title = check.title;
    };
    EventValues values;
    if (is_of_procedure) {
        values.push_back({"procedure", run->procedure().id});
        for (const Check& check : run->procedure().checks) find_title(check);
    } else {
        for (const Check* check : checks_of(*setup_->vehicles[*vehicle].readiness)) find_title(*check);
    }
    values.push_back({"check", statement.check});
    values.push_back({"title", title});
    values.push_back({"holds", statement.holds});
    values.push_back({"by", statement.by});
    values.push_back({"note", statement.note});
    out.events.push_back(
        make_event({.id = EventId::statement, .t_ns = t_ns, .about = statement.check, .values = std::move(values)},
                   t_ns, about(*vehicle)));
    if (is_of_procedure) run->look_again(t_ns, out);
    look_again(t_ns, out);
}

void Desk::take(const PollQuestion& question, std::int64_t t_ns, Batch& out) {
    poll_.take(question, t_ns, out);
    look_again(t_ns, out);
}

void Desk::take(const PollAnswer& answer, std::int64_t t_ns, Batch& out) {
    poll_.take(answer, t_ns, out);
    look_again(t_ns, out);
}

void Desk::take(const Entered& entered, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(entered.vehicle);
    if (!vehicle && !entered.vehicle.empty()) return;
    book_.enter(entered, t_ns);
    std::string unit = unit_of_name(entered.name);
    if (unit.empty()) unit = "1";
    out.events.push_back(make_event({.id = EventId::entered,
                                     .t_ns = t_ns,
                                     .about = entered.name,
                                     .values = {{"name", entered.name},
                                                {"title", title_of_name(entered.name)},
                                                {"value", entered.value},
                                                {"unit", std::move(unit)},
                                                {"by", entered.by}}},
                                    t_ns, vehicle ? about(*vehicle) : EventVehicle{}));
    look_again(t_ns, out);
}

void Desk::take(const StationFigure& figure, std::int64_t t_ns, Batch&) {
    book_.report(figure, t_ns);
}

void Desk::take(const PastProcedure& past, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(past.vehicle);
    const ProcedureRun* const known = vehicle ? procedures_[*vehicle].find(past.procedure) : nullptr;
    if (known == nullptr) return;
    book_.recall(past);
    EventValues values{{"procedure", past.procedure}, {"title", known->procedure().title}, {"runs", past.runs}};
    if (past.passed_ns) {
        values.push_back({"passed_ns", std::to_string(*past.passed_ns)});
        values.push_back({"recording", past.recording});
        values.push_back({"sha256", past.sha256});
        if (!past.waived.empty()) values.push_back({"waived", past.waived});
    }
    if (past.has_failed_since()) values.push_back({"failed_since", true});
    out.events.push_back(
        make_event({.id = EventId::past_procedure, .t_ns = t_ns, .about = past.procedure, .values = std::move(values)},
                   t_ns, about(*vehicle)));
}

void Desk::take(const CarriedProcedure& carried, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(carried.vehicle);
    if (!vehicle || procedures_[*vehicle].under_way() != nullptr) return;
    if (ProcedureRun* const run = procedures_[*vehicle].find(carried.procedure); run != nullptr)
        run->carry(carried, t_start_ns_, t_ns, out);
}

void Desk::take(const CarriedBaseline& baseline, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(baseline.vehicle);
    if (!vehicle) return;
    if (!baseline.procedure.empty()) {
        if (ProcedureRun* const run = procedures_[*vehicle].find(baseline.procedure); run != nullptr)
            run->take(baseline);
    } else if (board_of_[*vehicle] < boards_.size()) {
        boards_[board_of_[*vehicle]].take(baseline);
    }
    look_again(t_ns, out);
}

void Desk::take(const CarriedVerdict& verdict, std::int64_t t_ns, Batch& out) {
    const auto vehicle = place_of(verdict.vehicle);
    if (vehicle && board_of_[*vehicle] < boards_.size())
        boards_[board_of_[*vehicle]].take(verdict, t_start_ns_, t_ns, out);
}

void Desk::carry(std::vector<Action>& out) const {
    for (const ReadinessBoard& board : boards_)
        if (auto verdict = board.carried()) out.emplace_back(*std::move(verdict));
    for (const Procedures& procedures : procedures_)
        for (const ProcedureRun& run : procedures.runs)
            if (run.is_under_way()) out.emplace_back(run.carried());
    for (const ReadinessBoard& board : boards_) board.carry_baselines(out);
    for (const Procedures& procedures : procedures_)
        for (const ProcedureRun& run : procedures.runs)
            if (run.is_under_way()) run.carry_baselines(out);
    book_.carry(out); // statements after the procedure that they are of, and after what is measured from them
    poll_.carry(out);
}

void Desk::recall(const Event& event) {
    for (ReadinessBoard& board : boards_) board.recall(event);
}

} // namespace turnstone
