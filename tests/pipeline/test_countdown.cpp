// The station's countdown: what operators do with it, and what everybody is told.
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "server/pipeline/events.hpp"
#include "server/pipeline/station/countdown_clock.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::int64_t after_start(double t_s) {
    return kStart_ns + seconds_to_ns(t_s);
}

/// What is said of the countdown, as people read it.
std::vector<std::string> texts(const Batch& batch) {
    std::vector<std::string> all;
    for (const Event& event : batch.events)
        if (event.kind == EventKind::countdown) all.push_back(event.text);
    return all;
}

} // namespace

TEST_CASE("a countdown runs, is held, goes on from there and is taken off, and each step is said once") {
    using enum CountdownStep;
    struct Step {
        double t_s;
        Countdown does;
        const char* says; ///< empty: nothing
    };
    const Step steps[] = {
        {1, {.step = hold}, ""}, // there is none
        {2, {.step = resume}, ""},
        {3, {.step = off}, ""},
        {10, {.step = run, .zero_ns = after_start(610)}, "Countdown runs at T-10:00"},
        {70, {.step = hold}, "Countdown held at T-9:00"},
        {75, {.step = hold}, ""}, // it is held
        {100, {.step = resume}, "Countdown runs at T-9:00"},
        {101, {.step = resume}, ""},
        {130, {.step = hold, .left_s = 300}, "Countdown held at T-5:00"},
        {200, {.step = run, .zero_ns = after_start(260)}, "Countdown runs at T-1:00"}, // begun again
        {261.4, {.step = hold}, "Countdown held at T+0:01"},
        {262, {.step = hold, .reason = "smoke"}, "Countdown held at T+0:01: smoke"}, // held first, then why
        {263, {.step = hold}, ""},
        {264, {.step = hold, .reason = "wind"}, "Countdown held at T+0:01: wind"},
        {265, {.step = resume}, "Countdown runs at T+0:01"},
        {266.4, {.step = hold}, "Countdown held at T+0:02"}, // the reason was the other hold's
        {270, {.step = run, .zero_ns = after_start(570)}, "Countdown runs at T-5:00"},
        {270, {.step = hold, .reason = "wind above its limit"}, "Countdown held at T-5:00: wind above its limit"},
        {280, {.step = hold, .left_s = 120, .reason = "boat"}, "Countdown held at T-2:00: boat"},
        {290, {.step = hold, .left_s = 85.1}, "Countdown held at T-1:26"}, // as clocks show it
        {300, {.step = off}, "Countdown removed"},
        {301, {.step = off}, ""},
        {302, {.step = hold, .reason = "nothing to hold"}, ""},
    };
    CountdownClock clock;
    for (const Step& step : steps) {
        INFO(step.t_s);
        Batch out;
        clock.take(step.does, after_start(step.t_s), out);
        CHECK(texts(out) == (*step.says == '\0' ? std::vector<std::string>() : std::vector<std::string>{step.says}));
    }
}

TEST_CASE("a hold says why as a value of its own, and one without a reason has none") {
    CountdownClock clock;
    Batch out;
    clock.take({.step = CountdownStep::hold, .left_s = 300, .reason = "wind above its limit"}, after_start(1), out);
    clock.take({.step = CountdownStep::hold, .left_s = 240}, after_start(2), out);
    REQUIRE(out.events.size() == 2);
    CHECK(out.events[0].values == EventValues{{"left_s", 300.0}, {"reason", std::string("wind above its limit")}});
    CHECK(out.events[1].values == EventValues{{"left_s", 240.0}});
}

TEST_CASE("a liftoff is compared with a countdown that runs, and with no other") {
    struct Case {
        const char* name;
        std::vector<Countdown> before;
        double liftoff_s;
        std::vector<std::string> says;
    };
    const Countdown run{.step = CountdownStep::run, .zero_ns = after_start(100)};
    const Case cases[] = {
        {"late", {run}, 100.84, {"Liftoff 0.8 s after T-0 of the countdown"}},
        {"early", {run}, 98.1, {"Liftoff 1.9 s before T-0 of the countdown"}},
        {"another day's", {run}, 1000, {}},
        {"none", {}, 100, {}},
        {"held", {run, {.step = CountdownStep::hold}}, 100, {}},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        CountdownClock clock;
        Batch out;
        for (const Countdown& step : one.before) clock.take(step, after_start(0), out);
        out.events.push_back(make_event({.id = EventId::marker, .t_ns = after_start(1)}, after_start(1)));
        const Marks from = out.marks();
        out.events.push_back(
            make_event({.id = EventId::liftoff, .t_ns = after_start(one.liftoff_s)}, after_start(one.liftoff_s + 0.3)));
        clock.see(out, from);
        std::vector<std::string> said;
        for (std::size_t i = from.events + 1; i < out.events.size(); ++i) said.push_back(out.events[i].text);
        CHECK(said == one.says);
    }
}

TEST_CASE("a new recording begins with the countdown that runs, to the same T-0") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    Pipeline before(setup, kStart_ns);
    Batch out;
    before.action(after_start(5), Countdown{.step = CountdownStep::run, .zero_ns = after_start(125)}, out);
    before.advance(after_start(20), out);
    Pipeline next(setup, after_start(20));
    Batch said;
    for (const Action& action : before.carried_actions()) next.action(after_start(25), action, said);
    REQUIRE(texts(said) == std::vector<std::string>{"Countdown runs at T-1:40"});
    REQUIRE(next.carried_actions() == before.carried_actions());
}

TEST_CASE("a new recording begins with the countdown that is held, and why") {
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    Pipeline before(setup, kStart_ns);
    Batch out;
    before.action(after_start(5), Countdown{.step = CountdownStep::hold, .left_s = 300, .reason = "wind"}, out);
    before.advance(after_start(20), out);
    Pipeline next(setup, after_start(20));
    Batch said;
    // As the file has it.
    for (const Action& action : before.carried_actions())
        next.action(after_start(25), action_from_json(to_json(action)), said);
    REQUIRE(texts(said) == std::vector<std::string>{"Countdown held at T-5:00: wind"});
    REQUIRE(next.carried_actions() == before.carried_actions());
}
