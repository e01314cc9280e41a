#include "server/serve/desk/under_way.hpp"

#include <algorithm>

namespace turnstone {

namespace {

std::string text_in(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (const auto* text = std::get_if<std::string>(&value.value); value.name == name && text != nullptr)
            return *text;
    return "";
}

const Procedure* procedure_named(const VehicleSetup& setup, const std::string& id) {
    const auto found = std::ranges::find(setup.procedures, id, &Procedure::id);
    return found == setup.procedures.end() ? nullptr : &*found;
}

std::string quoted(const std::string& title) {
    return "'" + title + "'";
}

/// The first that is neither done nor waived; null: all are.
const Step* first_of(const Procedure& procedure, const std::set<std::string>& over) {
    const auto found = std::ranges::find_if(procedure.steps, [&](const Step& step) { return !over.contains(step.id); });
    return found == procedure.steps.end() ? nullptr : &*found;
}

/// Place of the check among those of the procedure that people state; their number: it has none of that name.
std::size_t statement_in(const Procedure& procedure, const std::string& check) {
    const auto found = std::ranges::find_if(procedure.checks, [&](const Check& each) {
        return each.id == check && each.subject == CheckSubject::statement;
    });
    return static_cast<std::size_t>(found - procedure.checks.begin());
}

bool is_of_board(const VehicleSetup& setup, const std::string& check) {
    return setup.readiness &&
           std::ranges::any_of(
               checks_of(*setup.readiness),
               [&](const Check* each) { return each->id == check && each->subject == CheckSubject::statement; });
}

} // namespace

void UnderWay::begin(const PipelineSetup& setup) {
    setup_ = &setup;
    vehicles_.clear();
    countdown_told_ = CountdownState::none;
    countdown_asked_.clear();
}

void UnderWay::see(const Event& event) {
    const auto said = [&](CountdownState state) {
        countdown_told_ = state;
        auto answered = std::ranges::find(countdown_asked_, state, state_after);
        if (answered != countdown_asked_.end()) ++answered; // else nobody asked: it ended with the liftoff
        countdown_asked_.erase(countdown_asked_.begin(), answered);
    };
    if (event.id == EventId::countdown_runs) said(CountdownState::runs);
    if (event.id == EventId::countdown_held) said(CountdownState::held);
    if (event.id == EventId::countdown_off) said(CountdownState::none);
    if (event.kind != EventKind::procedure || event.vehicle < 0 || setup_ == nullptr) return;
    const auto place = static_cast<std::size_t>(event.vehicle);
    if (place >= setup_->vehicles.size()) return;
    Vehicle& vehicle = vehicles_[setup_->vehicles[place].dictionary.vehicle];
    const auto answered = [&](const auto& is_it) {
        const auto first = std::ranges::find_if(vehicle.asked, is_it);
        if (first != vehicle.asked.end()) vehicle.asked.erase(vehicle.asked.begin(), first + 1);
    };
    const auto is_command = [](ProcedureStep step) {
        return [step](const auto& asked) {
            const auto* command = std::get_if<ProcedureCommand>(&asked);
            return command != nullptr && command->step == step;
        };
    };
    const std::string step = text_in(event, "step");
    const auto is_step = [&](const auto& asked) {
        const auto* command = std::get_if<StepCommand>(&asked);
        return command != nullptr && command->step == step;
    };
    if (event.id == EventId::procedure_begun) {
        vehicle.told = {.procedure = text_in(event, "procedure")};
        answered(is_command(ProcedureStep::begin));
    } else if (event.id == EventId::procedure_ended) {
        vehicle.told = {};
        answered(is_command(ProcedureStep::end));
    } else if (event.id == EventId::step_done || event.id == EventId::step_waived) {
        vehicle.told.over.insert(step);
        answered(is_step);
    } else if (event.id == EventId::step_repeated) {
        vehicle.told.over.erase(step);
        answered(is_step);
    } else if (event.id == EventId::step_held) {
        answered(is_step);
    }
}

const VehicleSetup* UnderWay::setup_of(const std::string& vehicle) const {
    if (setup_ == nullptr) return nullptr;
    const auto found =
        std::ranges::find(setup_->vehicles, vehicle, [](const VehicleSetup& each) { return each.dictionary.vehicle; });
    return found == setup_->vehicles.end() ? nullptr : &*found;
}

const UnderWay::Vehicle* UnderWay::find(const std::string& vehicle) const {
    const auto found = vehicles_.find(vehicle);
    return found == vehicles_.end() ? nullptr : &found->second;
}

void UnderWay::apply(const VehicleSetup& setup, const StepCommand& command, Steps& steps) {
    const Procedure* const procedure = procedure_named(setup, steps.procedure);
    if (procedure == nullptr) return;
    const auto step = std::ranges::find(procedure->steps, command.step, &Step::id);
    if (step == procedure->steps.end()) return;
    const bool may_be_held = step->kind == StepKind::hold || step->kind == StepKind::wait_for;
    if (command.deed == StepDeed::repeat)
        steps.over.erase(command.step);
    else if (command.deed == StepDeed::waive || !may_be_held)
        steps.over.insert(command.step);
    else
        steps.unsure = true;
}

UnderWay::Steps UnderWay::now(const std::string& vehicle) const {
    const VehicleSetup* const setup = setup_of(vehicle);
    const Vehicle* const known = find(vehicle);
    if (setup == nullptr || known == nullptr) return {};
    Steps steps = known->told;
    for (const auto& asked : known->asked) {
        if (const auto* command = std::get_if<StepCommand>(&asked))
            apply(*setup, *command, steps);
        else
            steps = {.procedure = std::get<ProcedureCommand>(asked).step == ProcedureStep::begin
                                      ? std::get<ProcedureCommand>(asked).procedure
                                      : ""};
    }
    return steps;
}

UnderWay::CountdownState UnderWay::state_after(CountdownStep step) noexcept {
    switch (step) {
    case CountdownStep::run:
    case CountdownStep::resume: return CountdownState::runs;
    case CountdownStep::hold: return CountdownState::held;
    case CountdownStep::off: break;
    }
    return CountdownState::none;
}

UnderWay::CountdownState UnderWay::countdown() const {
    return countdown_asked_.empty() ? countdown_told_ : state_after(countdown_asked_.back());
}

const Procedure* UnderWay::procedure_of(const std::string& vehicle) const {
    const VehicleSetup* const setup = setup_of(vehicle);
    return setup == nullptr ? nullptr : procedure_named(*setup, now(vehicle).procedure);
}

std::string UnderWay::refuse(const Countdown& step) const {
    const CountdownState state = countdown();
    switch (step.step) {
    case CountdownStep::run: break;
    case CountdownStep::hold:
        if (step.left_s || state == CountdownState::runs) break;
        if (state == CountdownState::held && !step.reason.empty()) break;
        return state == CountdownState::held ? "the countdown is held already; say why, resume it, or take it off"
                                             : "there is no countdown to hold; run one, or set one and hold it";
    case CountdownStep::resume:
        if (state == CountdownState::held) break;
        return state == CountdownState::runs ? "the countdown runs already; hold it before it can be resumed"
                                             : "there is no countdown to resume; run one, or set one and hold it";
    case CountdownStep::off:
        if (state == CountdownState::none) return "there is no countdown to remove; run one first";
        break;
    }
    return "";
}

std::string UnderWay::refuse(const ProcedureCommand& command) const {
    const Procedure* const under_way = procedure_of(command.vehicle);
    const Procedure* const asked = procedure_named(*setup_of(command.vehicle), command.procedure);
    if (command.step == ProcedureStep::begin)
        return under_way == nullptr ? "" : quoted(under_way->title) + " is under way; end it first";
    if (under_way == asked) return "";
    return under_way == nullptr ? quoted(asked->title) + " is not under way; begin that first"
                                : quoted(under_way->title) + " is under way, not " + quoted(asked->title) +
                                      "; end that one, or go on with it";
}

std::string UnderWay::refuse(const StepCommand& command) const {
    const Procedure* const procedure = procedure_of(command.vehicle);
    if (procedure == nullptr) return "no procedure of '" + command.vehicle + "' is under way; begin one first";
    const Steps steps = now(command.vehicle);
    const auto asked = std::ranges::find(procedure->steps, command.step, &Step::id);
    if (steps.unsure || asked == procedure->steps.end()) return "";
    const Step* const first = first_of(*procedure, steps.over);
    const bool is_over = steps.over.contains(command.step);
    if (command.deed == StepDeed::repeat)
        return is_over ? "" : "step " + quoted(asked->title) + " is not done, so that there is nothing to repeat";
    if (first == &*asked) return "";
    if (first == nullptr)
        return "every step of " + quoted(procedure->title) + " is done; end it, or repeat a step first";
    const std::string here = "; under way is " + quoted(first->title);
    return is_over ? "step " + quoted(asked->title) + " is done already" + here + "; repeat a step to do it again"
                   : "step " + quoted(asked->title) + " is not under way yet" + here + ": do or waive that first";
}

std::string UnderWay::refuse(const CheckStatement& statement) const {
    const VehicleSetup& setup = *setup_of(statement.vehicle);
    if (is_of_board(setup, statement.check)) return "";
    const Steps steps = now(statement.vehicle);
    if (const Procedure* const under_way = procedure_named(setup, steps.procedure); under_way != nullptr) {
        const std::size_t check = statement_in(*under_way, statement.check);
        if (check < under_way->checks.size()) {
            const auto decided = std::ranges::find_if(under_way->steps, [&](const Step& step) {
                return std::ranges::count(step.checks, check) > 0 && steps.over.contains(step.id);
            });
            if (steps.unsure || decided == under_way->steps.end()) return "";
            return quoted(under_way->checks[check].title) + " was decided when step " + quoted(decided->title) +
                   " was done; repeat that step to say it again";
        }
    }
    const auto owner = std::ranges::find_if(setup.procedures, [&](const Procedure& procedure) {
        return statement_in(procedure, statement.check) < procedure.checks.size();
    });
    const Procedure* const under_way = procedure_of(statement.vehicle);
    return quoted(owner->checks[statement_in(*owner, statement.check)].title) + " belongs to " + quoted(owner->title) +
           ", which is not under way; " +
           (under_way == nullptr ? "begin that first" : "end " + quoted(under_way->title) + " and begin that first");
}

void UnderWay::ask(const Countdown& step) {
    countdown_asked_.push_back(step.step);
}

void UnderWay::ask(const ProcedureCommand& command) {
    vehicles_[command.vehicle].asked.emplace_back(command);
}

void UnderWay::ask(const StepCommand& command) {
    vehicles_[command.vehicle].asked.emplace_back(command);
}

} // namespace turnstone
