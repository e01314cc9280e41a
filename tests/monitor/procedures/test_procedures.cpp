// Steps as people go through them: what may be done when, what is decided by it, and how it ends.
#include <catch2/catch.hpp>

#include "tests/monitor/desk_bench.hpp"

using namespace turnstone;
using namespace turnstone::test;
using Story = std::vector<std::string>;

namespace {

const FolderFile kBench{"procedures/bench.json", R"({"title": "Bench", "checks": [
    {"id": "power", "title": "Power", "value": {"table": "health", "column": "battery"}, "least": 7},
    {"id": "still", "title": "Still", "severity": "should", "value": {"table": "imu", "column": "x"}, "within": 1},
    {"id": "fired", "title": "Fired", "count": {"event": "charge_fired"}, "least": 1},
    {"id": "clear", "title": "Clear", "statement": true}],
  "steps": [
    {"id": "on", "kind": "instruct", "title": "Switch on"},
    {"id": "wait", "kind": "wait_for", "title": "Wait for power", "checks": ["power"]},
    {"id": "hold", "kind": "hold", "title": "Hold", "checks": ["clear", "still"]},
    {"id": "count", "kind": "countdown", "title": "Countdown"},
    {"id": "look", "kind": "check", "title": "Look", "checks": ["fired"]}]})"};

class Run : public DeskBench {
  public:
    Run() : DeskBench({kBench}) {}
    void procedure(ProcedureStep step) {
        act(ProcedureCommand{.vehicle = "alpha", .procedure = "bench", .step = step, .by = "KL"});
    }
    void step(const std::string& id, StepDeed deed = StepDeed::done, const std::string& note = "") {
        act(StepCommand{.vehicle = "alpha", .step = id, .deed = deed, .by = "KL", .note = note});
    }
    void confirm(bool holds) {
        act(CheckStatement{.vehicle = "alpha", .check = "clear", .holds = holds, .by = "KL", .note = "looked"});
    }
    void power(double volts, double until_s) {
        run(
            until_s,
            [&] {
                row("alpha/health", {{"battery", volts}});
            });
    }
    void count_down() {
        event({.id = EventId::countdown_runs, .t_ns = now_ns(), .values = {{"left_s", 0.5}}});
        run(t_s() + 1);
    }
    /// To the last step, with nothing wrong so far.
    void to_the_end() {
        procedure(ProcedureStep::begin);
        step("on");
        power(8, 1);
        confirm(true);
        step("hold");
        count_down();
        (void)story();
    }
    [[nodiscard]] std::string verdict() const {
        const Event* ended = last(EventId::procedure_ended);
        return ended == nullptr ? "none" : std::get<std::string>(ended->values.at(3).value);
    }
};

} // namespace

TEST_CASE("a procedure is gone through step by step, and passes when every must-check holds") {
    Run bench;
    bench.step("on"); // nothing is under way
    CHECK(bench.story().empty());
    bench.procedure(ProcedureStep::begin);
    bench.step("hold"); // not its turn
    CHECK(bench.story() == Story{"procedure_begun"});
    bench.step("on");
    CHECK(bench.story() == Story{"step_done on"});
    bench.power(6, 1);
    CHECK(bench.story() == Story{"check_decided power fails"});
    bench.step("wait"); // waits for its check, whoever says otherwise
    CHECK(bench.story() == Story{"step_held wait"});
    bench.power(8, 4);
    CHECK(bench.story() == Story{"check_decided power holds", "step_done wait"});
    bench.step("hold");
    CHECK(bench.story() == Story{"step_held hold"});
    bench.confirm(true);
    CHECK(bench.story() == Story{"statement clear", "check_decided clear holds"});
    bench.step("hold"); // "still" waits, and is only a should
    CHECK(bench.story() == Story{"check_decided still not_evaluated", "step_done hold"});
    bench.count_down();
    CHECK(bench.story() == Story{"countdown_runs", "step_done count"});
    bench.event(EventId::charge_fired);
    bench.run(bench.t_s() + 0.5);
    bench.step("look");
    CHECK(bench.story() == Story{"charge_fired", "check_decided fired holds", "step_done look"});
    bench.power(3, bench.t_s() + 2); // decided long ago
    bench.procedure(ProcedureStep::end);
    CHECK(bench.story() == Story{"procedure_ended passed"});
    bench.run(bench.t_s() + 3);
    CHECK(bench.story().empty());
}

TEST_CASE("what does not happen until its step is done fails, and the procedure with it") {
    Run bench;
    bench.to_the_end();
    bench.step("look");
    CHECK(bench.story() == Story{"check_decided fired fails", "step_done look"});
    bench.procedure(ProcedureStep::end);
    CHECK(bench.verdict() == "failed");
}

TEST_CASE("a step that is left undone leaves the procedure incomplete") {
    Run bench;
    bench.to_the_end();
    bench.event(EventId::charge_fired);
    bench.run(bench.t_s() + 1);
    bench.procedure(ProcedureStep::end);
    CHECK(bench.verdict() == "incomplete");
}

TEST_CASE("a step is waived with a reason only, and its checks do not count") {
    Run bench;
    bench.to_the_end();
    bench.step("look", StepDeed::waive);
    CHECK(bench.story().empty());
    bench.step("look", StepDeed::waive, "no charge today");
    CHECK(bench.story() == Story{"check_decided fired fails", "step_waived look"});
    bench.procedure(ProcedureStep::end);
    CHECK(bench.verdict() == "passed");
    // It is never said without what was waived, today and in the recordings after this one.
    CHECK_THAT(bench.last(EventId::procedure_ended)->text, Catch::Contains("passed, waived: "));
}

TEST_CASE("a repeated step is under way again, its checks begin again, later steps stay as they are") {
    Run bench;
    bench.to_the_end();
    bench.step("look"); // fails: nothing fired
    (void)bench.story();
    bench.step("look", StepDeed::repeat);
    bench.run(bench.t_s() + 0.5);
    CHECK(bench.story() == Story{"step_repeated look", "check_decided fired waits"});
    bench.event(EventId::charge_fired);
    bench.run(bench.t_s() + 0.5);
    bench.step("look");
    bench.procedure(ProcedureStep::end);
    CHECK(bench.verdict() == "passed");

    Run other;
    other.to_the_end();
    other.step("on", StepDeed::repeat);
    other.step("look"); // "on" is under way now
    CHECK(other.story() == Story{"step_repeated on"});
    other.step("on");
    other.step("look");
    CHECK(other.story() == Story{"step_done on", "check_decided fired fails", "step_done look"});
}

TEST_CASE("what was said before the procedure began does not count in it") {
    Run bench;
    bench.procedure(ProcedureStep::begin);
    bench.confirm(true);
    bench.run(1);
    bench.procedure(ProcedureStep::end);
    bench.run(2);
    (void)bench.story();
    bench.procedure(ProcedureStep::begin);
    bench.run(3);
    CHECK(bench.state("alpha/procedure/bench", "clear") == "waits");
    CHECK(bench.story() == Story{"procedure_begun"});
    CHECK(std::get<double>(bench.last(EventId::procedure_begun)->values.at(3).value) == 2); // its second run
}

TEST_CASE("a procedure's table has rows while it is under way, at most one a second while no state changes") {
    Run bench;
    bench.run(5);
    CHECK(bench.out.rows.empty());
    bench.procedure(ProcedureStep::begin);
    bench.power(8, 10);
    const TableId table = bench.named("alpha/procedure/bench").id;
    const auto rows = [&] { return std::ranges::count(bench.out.rows, table, &RowRecord::table); };
    CHECK(rows() == 6); // five whole seconds, and "power" that holds
    bench.procedure(ProcedureStep::end);
    const auto at_end = rows();
    bench.power(8, 12);
    CHECK(rows() == at_end);
}

TEST_CASE("the next recording continues in the middle of a procedure") {
    Run before;
    before.to_the_end();
    before.event(EventId::charge_fired);
    before.run(before.t_s() + 1);
    std::vector<Action> carried;
    before.desk.carry(carried);
    REQUIRE_FALSE(carried.empty());

    Run after;
    after.go_on_from(carried);
    after.run(1);
    const Story story = after.story();
    for (const char* line : {"procedure_begun", "step_done on", "step_done wait", "step_done hold", "step_done count",
                             "check_decided power holds", "check_decided clear holds", "check_decided fired holds"})
        CHECK(std::ranges::find(story, line) != story.end());
    after.step("look");
    CHECK(after.story() == Story{"step_done look"}); // what fired in the recording before counts
    after.procedure(ProcedureStep::end);
    CHECK(after.verdict() == "passed");
    CHECK(std::get<double>(after.last(EventId::procedure_begun)->values.at(3).value) == 1);
}
