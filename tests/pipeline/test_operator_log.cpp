// What operators write on the tape: markers and notes, what becomes of them, and names of flights.
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"
#include "server/pipeline/station/operator_log.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::int64_t moment(double t_s) {
    return kStart_ns + seconds_to_ns(t_s);
}

struct Written {
    PipelineSetup setup = make_setup(2, {});
    OperatorLog log{setup, kStart_ns};
    Batch out;
    template <class What>
    void take(double at_s, const What& what) {
        log.take(what, moment(at_s), out);
    }
};

} // namespace

TEST_CASE("markers stand where they were set, never before the start or ahead of the head") {
    Written run;
    run.take(10, Marker{"here"});
    run.take(11, Marker{"back", moment(4)});
    run.take(12, Marker{"too far", moment(99)});
    run.take(13, Marker{"too early", 1});
    REQUIRE(run.out.events.size() == 4);
    const double expected_s[] = {10, 4, 12, 0}, found_s[] = {10, 11, 12, 13};
    for (std::size_t k = 0; k < 4; ++k) {
        CHECK(run.out.events[k].kind == EventKind::marker);
        CHECK(seconds_between(kStart_ns, run.out.events[k].t_ns) == expected_s[k]);
        CHECK(seconds_between(kStart_ns, run.out.events[k].t_found_ns) == found_s[k]);
    }
}

TEST_CASE("notes stand where they were written, and what is not UTF-8 in them is replaced") {
    Written run;
    run.take(1, Note{"wind is up"});
    run.take(9, Note{"was up", moment(2)});
    run.take(10, Note{"\xff\xfe"});
    CHECK(run.out.events.at(0).text == "wind is up");
    CHECK(run.out.events.at(1).t_ns == moment(2));
    CHECK(run.out.events.at(2).text == "\uFFFD\uFFFD"); // Unicode 3.9
}

TEST_CASE("a marker or note that is changed is said again with its key and time, and one that is taken back says so") {
    Written run;
    run.take(10, Marker{"armed", moment(4)});
    run.take(11, Note{"wind up"});
    const std::string marker = run.out.events[0].key, note = run.out.events[1].key;
    REQUIRE(marker != note);
    struct Step {
        ChangeMark change;
        const char* text; ///< nullptr: nothing is said
        const char* values;
        double t_s;
        EventKind kind;
    };
    const Step steps[] = {
        {{marker, "Armed"}, "Armed", R"({"before":"armed","text":"Armed"})", 4, EventKind::marker},
        {{marker}, "Taken back: Armed", R"({"text":"Armed","taken_back":true})", 4, EventKind::marker},
        {{marker, "Armed"}, "Armed", R"({"before":"Armed","text":"Armed"})", 4, EventKind::marker},
        {{note, "\xff"}, "\uFFFD", "{\"before\":\"wind up\",\"text\":\"\uFFFD\"}", 11, EventKind::note},
        {{"marker/99", "x"}, nullptr, "", 0, EventKind::marker},
        {{"alpha/flight/liftoff"}, nullptr, "", 0, EventKind::marker},
        {{""}, nullptr, "", 0, EventKind::marker},
    };
    for (const Step& step : steps) {
        INFO(step.change.key << " " << step.change.text.value_or("taken back"));
        run.out.clear();
        run.take(20, step.change);
        REQUIRE(run.out.events.size() == (step.text == nullptr ? 0 : 1));
        if (step.text == nullptr) continue;
        const Event& event = run.out.events[0];
        CHECK(event.text == step.text);
        CHECK(nlohmann::json::parse(to_json(event.values)) == nlohmann::json::parse(step.values));
        CHECK(event.key == step.change.key);
        CHECK(event.kind == step.kind);
        CHECK(event.t_ns == moment(step.t_s));
        CHECK(event.t_found_ns == moment(20));
    }
}

TEST_CASE(
    "a name is of one flight: it stands until the vehicle is ready for another, and goes over to a new recording") {
    Written run;
    run.take(1, NameFlight{"beta", "First hop"});
    run.take(2, NameFlight{"beta", "First hop"}); // says nothing new
    run.take(3, NameFlight{"nobody", "x"});
    run.take(4, NameFlight{"alpha", "Long burn"});
    run.take(5, NameFlight{"alpha", ""});
    std::vector<std::pair<int, std::string>> said;
    for (const Event& event : run.out.events) {
        CHECK(event.id == EventId::flight_named);
        said.emplace_back(event.vehicle, event.text);
    }
    CHECK(said == std::vector<std::pair<int, std::string>>{{1, "Flight named \"First hop\""},
                                                           {0, "Flight named \"Long burn\""},
                                                           {0, "The flight has no name"}});
    const auto carried = [&] {
        std::vector<Action> actions;
        run.log.carry(actions);
        return actions;
    };
    CHECK(carried() == std::vector<Action>{NameFlight{"beta", "First hop"}});
    const Marks from = run.out.marks();
    run.out.events.push_back(make_event({.id = EventId::ready_again, .t_ns = moment(90)}, moment(91), {1, "beta"}));
    run.log.see(run.out, from);
    CHECK(carried().empty());
    // Of the flight before, which ended at 90 s: that one has the name, and this one still has none.
    run.take(95, NameFlight{"beta", "Windy hop", moment(80)});
    CHECK(run.out.events.back().t_ns == moment(80));
    CHECK(run.out.events.back().text == "Flight named \"Windy hop\"");
    CHECK(carried().empty());
}

TEST_CASE("a flight's notes, tags and configuration change one by one, and go over to a new recording") {
    Written run;
    run.take(1, DescribeFlight{.vehicle = "beta", .notes = "camera on", .tags = {{"camera", "C6"}}});
    run.take(2, DescribeFlight{.vehicle = "beta", .configuration = "two fins swapped"});
    run.take(3, DescribeFlight{.vehicle = "nobody", .notes = "x"});
    run.take(4, DescribeFlight{.vehicle = "beta"}); // says nothing
    std::vector<std::string> said;
    for (const Event& event : run.out.events) {
        CHECK(event.id == EventId::flight_described);
        CHECK(event.vehicle == 1);
        said.push_back(to_json(event.values));
    }
    CHECK(said == std::vector<std::string>{R"({"notes":"camera on","tags":["camera","C6"]})",
                                           R"({"configuration":"two fins swapped"})"});
    std::vector<Action> carried;
    run.log.carry(carried);
    CHECK(
        carried ==
        std::vector<Action>{DescribeFlight{
            .vehicle = "beta", .notes = "camera on", .tags = {{"camera", "C6"}}, .configuration = "two fins swapped"}});
}

TEST_CASE("a new recording begins with the names of the flights under way") {
    const PipelineSetup setup = make_setup(2, {});
    Pipeline before(setup, kStart_ns);
    Batch out;
    before.action(moment(5), NameFlight{"beta", "Second hop"}, out);
    Pipeline next(setup, moment(20));
    Batch said;
    for (const Action& action : before.carried_actions()) next.action(moment(25), action, said);
    std::vector<std::string> texts;
    for (const Event& event : said.events)
        if (event.id == EventId::flight_named) texts.push_back(event.text);
    CHECK(texts == std::vector<std::string>{"Flight named \"Second hop\""});
}
