/// What people have under way, as events and accepted requests tell it.
#include <catch2/catch.hpp>

#include "server/serve/desk/under_way.hpp"
#include "tests/serve/golden_tape.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;

namespace {

Procedure procedure_of(const std::string& id, const std::string& text) {
    std::vector<Problem> problems;
    const auto json = parse_json_text(text, id, problems);
    REQUIRE(json);
    Procedure procedure = read_procedure(*json, id, id, problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return procedure;
}

/// The golden tape's procedure, and one with a hold that a statement decides, then a hand at work.
const PipelineSetup& two_procedures() {
    static const PipelineSetup setup = [] {
        PipelineSetup out;
        VehicleSetup vehicle;
        vehicle.dictionary.vehicle = "sanderling";
        vehicle.procedures.push_back(
            procedure_of("bench", test::read_file(test::source_path("tests/serve/setup/procedures/bench.json"))));
        vehicle.procedures.push_back(procedure_of("dry-run", R"({"title": "Dry run",
            "checks": [{"id": "inert", "title": "Inert", "statement": true}],
            "steps": [{"id": "inert", "kind": "hold", "title": "Everything inert", "checks": ["inert"]},
                      {"id": "on_rail", "kind": "instruct", "title": "On the rail"}]})"));
        out.vehicles.push_back(std::move(vehicle));
        return out;
    }();
    return setup;
}

Event told_event(EventId id, EventValues values, int vehicle = 0) {
    return make_event({.id = id, .t_ns = kTapeStartNs, .values = std::move(values)}, kTapeStartNs,
                      {vehicle, "sanderling"});
}
Event of_procedure(EventId id, const std::string& procedure, const std::string& step = "") {
    EventValues values{{"procedure", procedure}};
    if (!step.empty()) values.push_back({"step", step});
    return told_event(id, std::move(values));
}

ProcedureCommand command(const std::string& procedure, ProcedureStep step) {
    return {"sanderling", procedure, step, "KL"};
}
StepCommand deed(const std::string& step, StepDeed what) {
    return {"sanderling", step, what, "KL", "why"};
}
CheckStatement statement_of(const std::string& check) {
    return {"sanderling", check, true, "KL"};
}

struct FollowedDesk {
    UnderWay now;
    FollowedDesk() { now.begin(two_procedures()); }
    template <class Act>
    void accept(const Act& act) {
        CHECK(now.refuse(act).empty());
        now.ask(act);
    }
};

} // namespace

TEST_CASE("a countdown is held, resumed and taken off only where that changes something") {
    const bool is_told = GENERATE(false, true); // or the events are still to come
    FollowedDesk desk;
    const auto step = [&](CountdownStep what) { return Countdown{.step = what}; };
    const auto accept = [&](const Countdown& countdown, EventId id) {
        desk.accept(countdown);
        if (is_told) desk.now.see(told_event(id, {{"left_s", 600.0}}, -1));
    };
    CHECK(desk.now.refuse(step(CountdownStep::resume)).find("no countdown to resume") != std::string::npos);
    CHECK(desk.now.refuse(step(CountdownStep::hold)).find("no countdown to hold") != std::string::npos);
    CHECK(desk.now.refuse(step(CountdownStep::off)).find("no countdown to remove") != std::string::npos);
    const Countdown why{.step = CountdownStep::hold, .reason = "wind"};
    CHECK(desk.now.refuse(why).find("no countdown to hold") != std::string::npos);
    accept({.step = CountdownStep::hold, .left_s = 600}, EventId::countdown_held);
    CHECK(desk.now.refuse(step(CountdownStep::hold)).find("held already") != std::string::npos);
    CHECK(desk.now.refuse(Countdown{.step = CountdownStep::hold, .left_s = 300}).empty());
    accept(why, EventId::countdown_held); // held already: it says why
    accept(step(CountdownStep::resume), EventId::countdown_runs);
    CHECK(desk.now.refuse(step(CountdownStep::resume)).find("runs already") != std::string::npos);
    accept(step(CountdownStep::hold), EventId::countdown_held);
    accept({.step = CountdownStep::run, .zero_ns = kTapeStartNs}, EventId::countdown_runs);
    accept(step(CountdownStep::off), EventId::countdown_off);
    CHECK_FALSE(desk.now.refuse(step(CountdownStep::resume)).empty());
}

TEST_CASE("a countdown that ends with the liftoff while it is being held is over") {
    FollowedDesk desk;
    desk.accept(Countdown{.step = CountdownStep::run, .zero_ns = kTapeStartNs});
    desk.now.see(told_event(EventId::countdown_runs, {{"left_s", 1.0}}, -1));
    desk.accept(Countdown{.step = CountdownStep::hold}); // comes behind the liftoff, and makes no event
    desk.now.see(told_event(EventId::countdown_off, {}, -1));
    CHECK(desk.now.refuse(Countdown{.step = CountdownStep::resume}).find("no countdown") != std::string::npos);
    CHECK(desk.now.refuse(Countdown{.step = CountdownStep::off}).find("no countdown") != std::string::npos);
}

TEST_CASE("steps are done in their order, and what is refused says which one is under way") {
    const bool is_told = GENERATE(false, true);
    FollowedDesk desk;
    const auto told = [&](EventId id, const std::string& step = "") {
        if (is_told) desk.now.see(of_procedure(id, "bench", step));
    };
    CHECK(desk.now.refuse(deed("power", StepDeed::done)).find("begin one first") != std::string::npos);
    desk.accept(command("bench", ProcedureStep::begin));
    told(EventId::procedure_begun);
    const std::string early = desk.now.refuse(deed("look", StepDeed::done));
    INFO(early);
    CHECK(early.find("'Look' is not under way yet") != std::string::npos);
    CHECK(early.find("under way is 'Switch on'") != std::string::npos);
    CHECK_FALSE(desk.now.refuse(deed("look", StepDeed::waive)).empty());
    CHECK(desk.now.refuse(deed("power", StepDeed::repeat)).find("nothing to repeat") != std::string::npos);
    desk.accept(deed("power", StepDeed::done));
    told(EventId::step_done, "power");
    CHECK(desk.now.refuse(deed("power", StepDeed::done)).find("done already") != std::string::npos);
    desk.accept(deed("power", StepDeed::repeat));
    told(EventId::step_repeated, "power");
    desk.accept(deed("power", StepDeed::waive));
    told(EventId::step_waived, "power");
    desk.accept(deed("look", StepDeed::done));
    told(EventId::step_done, "look");
    CHECK(desk.now.refuse(deed("look", StepDeed::done)).find("every step of 'Bench check' is done") !=
          std::string::npos);
    desk.accept(command("bench", ProcedureStep::end));
    told(EventId::procedure_ended);
    CHECK_FALSE(desk.now.refuse(deed("look", StepDeed::done)).empty());
}

TEST_CASE("a step that its checks may hold back is under way until an event says what became of it") {
    FollowedDesk desk;
    desk.accept(command("dry-run", ProcedureStep::begin));
    desk.now.see(of_procedure(EventId::procedure_begun, "dry-run"));
    desk.accept(deed("inert", StepDeed::done));
    CHECK(desk.now.refuse(deed("inert", StepDeed::done)).empty()); // nobody knows yet
    CHECK(desk.now.refuse(deed("on_rail", StepDeed::done)).empty());
    desk.now.see(of_procedure(EventId::step_held, "dry-run", "inert"));
    CHECK_FALSE(desk.now.refuse(deed("on_rail", StepDeed::done)).empty());
    desk.accept(deed("inert", StepDeed::done));
    desk.now.see(of_procedure(EventId::step_done, "dry-run", "inert"));
    CHECK(desk.now.refuse(deed("on_rail", StepDeed::done)).empty());
    CHECK_FALSE(desk.now.refuse(deed("inert", StepDeed::done)).empty());
}

TEST_CASE("a step that made no event is not waited for once a later one has") {
    FollowedDesk desk;
    desk.accept(command("dry-run", ProcedureStep::begin));
    desk.now.see(of_procedure(EventId::procedure_begun, "dry-run"));
    desk.accept(deed("inert", StepDeed::done)); // of two operators at once: it was done already
    desk.now.see(of_procedure(EventId::step_done, "dry-run", "inert"));
    desk.now.ask(deed("inert", StepDeed::done));
    desk.accept(deed("on_rail", StepDeed::done));
    desk.now.see(of_procedure(EventId::step_done, "dry-run", "on_rail"));
    CHECK(desk.now.refuse(deed("inert", StepDeed::done)).find("every step") != std::string::npos);
}

TEST_CASE("a statement is taken while it can count, and else says what to begin or repeat") {
    FollowedDesk desk;
    CHECK(desk.now.refuse(statement_of("inert")) ==
          "'Inert' belongs to 'Dry run', which is not under way; begin that first");
    desk.accept(command("bench", ProcedureStep::begin));
    CHECK(desk.now.refuse(statement_of("inert")).find("end 'Bench check' and begin that first") != std::string::npos);
    CHECK(desk.now.refuse(statement_of("clear")).empty());
    desk.accept(command("bench", ProcedureStep::end));
    desk.accept(command("dry-run", ProcedureStep::begin));
    CHECK(desk.now.refuse(statement_of("inert")).empty());
    desk.now.see(of_procedure(EventId::procedure_begun, "bench")); // events come late, and in order
    desk.now.see(of_procedure(EventId::procedure_ended, "bench"));
    CHECK(desk.now.refuse(statement_of("inert")).empty());
    desk.now.see(of_procedure(EventId::procedure_begun, "dry-run"));
    desk.now.see(of_procedure(EventId::step_done, "dry-run", "inert"));
    CHECK(desk.now.refuse(statement_of("inert")).find("repeat that step") != std::string::npos);
}

TEST_CASE("one procedure of a vehicle is under way, and another recording begins with what its events say") {
    FollowedDesk desk;
    CHECK(desk.now.refuse(command("bench", ProcedureStep::end)) == "'Bench check' is not under way; begin that first");
    desk.accept(command("bench", ProcedureStep::begin));
    CHECK(desk.now.refuse(command("dry-run", ProcedureStep::begin)) == "'Bench check' is under way; end it first");
    CHECK(desk.now.refuse(command("dry-run", ProcedureStep::end)).find("under way, not 'Dry run'") !=
          std::string::npos);
    REQUIRE(desk.now.procedure_of("sanderling") != nullptr);
    CHECK(desk.now.procedure_of("sanderling")->id == "bench");
    CHECK(desk.now.procedure_of("godwit") == nullptr);
    desk.now.see(told_event(EventId::procedure_begun, {{"procedure", std::string("bench")}}, 7)); // of no vehicle here
    desk.now.begin(two_procedures());
    CHECK(desk.now.procedure_of("sanderling") == nullptr);
    CHECK_FALSE(desk.now.refuse(command("bench", ProcedureStep::end)).empty());
    desk.now.see(of_procedure(EventId::procedure_begun, "dry-run"));
    CHECK(desk.now.refuse(command("dry-run", ProcedureStep::end)).empty());
}
