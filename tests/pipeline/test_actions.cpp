// What the operator does and what the station reports of itself becomes events.
#include <set>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/pipeline/action.hpp"
#include "server/pipeline/events.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct Run {
    PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    Pipeline pipeline{setup, kStart_ns};
    Batch out;
    /// What is said of the vehicle all the while is not these tests' matter.
    void act(double at_s, const Action& action) {
        pipeline.action(kStart_ns + seconds_to_ns(at_s), action, out);
        std::erase_if(out.events, [](const Event& event) { return event.kind == EventKind::sentence; });
    }
    [[nodiscard]] std::vector<std::string> alerts() const {
        std::vector<std::string> found;
        for (const Event& event : out.events) {
            if (event.kind == EventKind::alert_raised) found.push_back("+" + event.key);
            if (event.kind == EventKind::alert_cleared) found.push_back("-" + event.key);
        }
        return found;
    }
};

std::int64_t at(double t_s) {
    return kStart_ns + seconds_to_ns(t_s);
}

} // namespace

TEST_CASE("a link that goes away raises one caution, and clears it when it comes back") {
    using enum LinkState;
    struct Case {
        std::vector<LinkState> states;
        std::vector<std::string> alerts;
    };
    const std::string raised = "+link/radio/down", cleared = "-link/radio/down";
    const std::vector<Case> table{
        {{opening, open}, {}},
        {{opening, cannot_open, opening, cannot_open, opening, open}, {raised, cleared}},
        {{open, no_data, open}, {raised, cleared}},
        {{open, no_data, lost, cannot_open, open, lost}, {raised, cleared, raised}},
        {{open, end_of_file}, {}},
        {{open, lost, end_of_file}, {raised, cleared}},
    };
    for (const Case& one : table) {
        Run run;
        double t_s = 0;
        for (const LinkState state : one.states) run.act(t_s += 2, LinkReport{"radio", state, "because"});
        run.pipeline.advance(at(t_s + 2), run.out);
        CHECK(run.alerts() == one.alerts);
        std::vector<std::string> states;
        for (const Event& event : run.out.events) {
            if (event.kind == EventKind::sentence) continue;
            const nlohmann::json values = nlohmann::json::parse(to_json(event.values));
            CHECK(values.at("link") == "radio");
            CHECK(values.at("detail") == "because");
            if (event.kind == EventKind::link_state) states.push_back(values.at("state"));
            if (event.kind == EventKind::alert_raised) CHECK(event.level == Level::caution);
        }
        std::vector<std::string> expected;
        for (const LinkState state : one.states) expected.emplace_back(word(state));
        CHECK(states == expected);
    }
}

TEST_CASE("an action about what this station does not have is recorded and has no effect") {
    for (const Action& action : {Action(LinkReport{"nowhere", LinkState::open}), Action(EngineTotal{"nobody", 3600}),
                                 Action(EngineTotal{"alpha", 3600}), // alpha has no engine
                                 Action(ChangeMark{"marker/1", "x"}), Action(NameFlight{"nobody", "x"}),
                                 Action(DescribeFlight{.vehicle = "nobody", .notes = "x"})}) {
        Run run;
        run.act(1, action);
        CHECK(run.out.events.empty());
        CHECK(run.pipeline.progress().inputs == 1);
    }
}

TEST_CASE("an action written as JSON reads back as itself") {
    const std::vector<Action> actions{
        Marker{"here"},
        Marker{"a \"quoted\" back\\slash\n", 1'780'000'000'123'456'789},
        Note{""},
        Note{"\u00b5 \u2212", -5},
        ChangeMark{"marker/1", "there"},
        ChangeMark{"note/2"},
        NameFlight{"alpha", "\u00b5"},
        NameFlight{"alpha", "x", 1'780'000'000'123'456'789},
        DescribeFlight{.vehicle = "alpha"},
        DescribeFlight{.vehicle = "alpha", .notes = "", .tags = {{"a", "\u00b5"}}, .configuration = "b", .t_ns = -5},
        Acknowledge{"link/radio/down"},
        Shelve{"alpha/limit/power.battery/low", 0.1 + 0.2},
        Unshelve{"\u00b5"},
        Countdown{.step = CountdownStep::run, .zero_ns = 1'780'000'000'123'456'789},
        Countdown{.step = CountdownStep::hold, .left_s = 0.1 + 0.2},
        Countdown{.step = CountdownStep::hold, .reason = "wind above its limit \u00b5 \"8.9\""},
        Countdown{.step = CountdownStep::off},
        OperatorChange{OperatorStep::unlocked, 1},
        OperatorChange{OperatorStep::handed_over, 2},
        OperatorChange{OperatorStep::left, 0},
        LinkReport{"radio", LinkState::no_data, "nothing for 3 s"},
        LinkReport{"radio", LinkState::end_of_file},
        RecorderReport{""},
        RecorderReport{"the disk is full"},
        Relayed{.link = "hill",
                .clock = "00000000000000ff",
                .sent_ns = 1'780'000'000'123'456'789,
                .heard_before_s = {0.1 + 0.2, 600}},
        Relayed{.link = "hill", .clock = "", .sent_ns = 0, .heard_before_s = {}},
        PublishReport{""},
        PublishReport{"the broker is away"},
        RecorderReport{"slow", false},
        RecorderReport{"full", true},
        Backlog{0.1 + 0.2},
        Resumed{1'780'000'000'123'456'789},
        EngineTotal{"launch", 0.1 + 0.2},
        EngineTotal{"launch", 1e-300},
        CarriedAlert{.raised = {.id = EventId::limit,
                                .t_ns = 1'780'000'000'123'456'789,
                                .t_found_ns = 1'780'000'000'123'456'789,
                                .t_sigma_s = 0.1 + 0.2,
                                .kind = EventKind::alert_raised,
                                .level = Level::warning,
                                .vehicle = -1,
                                .key = "alpha/limit/power.battery/low",
                                .text = "Battery low",
                                .values = {{"value", 6.7}, {"limit", 0.1 + 0.2}},
                                .advice = "Change it"},
                     .state = AlertState::acknowledged,
                     .shelved_s = 12.5,
                     .vehicle = "alpha"},
        ProcedureCommand{"alpha", "bench-check", ProcedureStep::end, "KL"},
        StepCommand{"alpha", "look", StepDeed::waive, "KL", "no charge today"},
        CheckStatement{"alpha", "clear", false, "KL", "a cow"},
        CheckStatement{"alpha", "clear", true, "KL", "", 1'780'000'000'123'456'789},
        PollQuestion{"weather"},
        PollAnswer{"weather", true, "KL", ""},
        PollAnswer{"weather", false, "KL", "rain", 1'780'000'000'123'456'789},
        Entered{"", "wind_gust_mps", 0.1 + 0.2, "KL"},
        Entered{"alpha", "wind_gust_mps", 9, "KL", 1'780'000'000'123'456'789},
        StationFigure{StationValue::disk_left_h, 0.1 + 0.2},
        StationFigure{StationValue::disk_left_h, 20, 1'780'000'000'123'456'789},
        PastProcedure{"alpha", "bench-check", 3},
        PastProcedure{"alpha", "bench-check", 3, 1'780'000'000'123'456'789, "a-recording", "00ff"},
        PastProcedure{"alpha", "bench-check", 3, 1'780'000'000'123'456'789, "a-recording", "00ff",
                      1'780'000'000'123'456'790},
        PastProcedure{
            "alpha", "bench-check", 3, 1'780'000'000'123'456'789, "a-recording", "00ff", {}, {"Look", "Weigh"}},
        CarriedProcedure{
            .vehicle = "alpha",
            .procedure = "bench-check",
            .by = "KL",
            .run = 3,
            .t_begun_ns = 1'780'000'000'123'456'789,
            .steps = {{"on", StepState::waived, "KL", "why"}, {"look", StepState::ahead}},
            .checks = {{"power", CheckState::holds, 7.9, 0.1 + 0.2, 5, "as it is"}, {"clear", CheckState::waits}}},
        CarriedBaseline{"alpha", "", "moved", {9.8, 0.1 + 0.2, -1e-3}, 1'780'000'000'123'456'789},
        CarriedVerdict{"alpha", false, {"Power: fails", "Weather: no-go"}, 1'780'000'000'123'456'789},
        UnknownAction{R"({"state": "silent",  "action":"link_state"})"}};
    std::set<std::size_t> kinds;
    for (const Action& action : actions) {
        INFO(to_json(action));
        CHECK(action_from_json(to_json(action)) == action);
        kinds.insert(action.index());
    }
    CHECK(kinds.size() == std::variant_size_v<Action>);
}

TEST_CASE("a time that an older version wrote as a number is read to the nanosecond") {
    CHECK(action_from_json(R"({"action":"marker","text":"a","t_ns":1795660231572410697})") ==
          Action(Marker{"a", 1'795'660'231'572'410'697}));
}

TEST_CASE("JSON that is not an action of this version is kept word for word and announces nothing") {
    for (
        const std::string& json : std::vector<std::string>{
            "plain words",
            "{\"action\":",
            "[1,2]",
            "{}",
            R"({"action":"dance"})",
            R"({"action":3})",
            R"({"action":"marker"})",
            R"({"action":"marker","text":7})",
            R"({"action":"marker","text":"a","t_ns":1.5})",
            R"({"action":"marker","text":"a","t_ns":"12x"})",
            R"({"action":"marker","text":"a","color":"red"})",
            R"({"action":"link_state","link":"radio","state":"sideways","detail":""})",
            R"({"action":"link_state","link":"radio","state":"open"})",
            R"({"action":"recording_state","fault":"","stopped":1})",
            R"({"action":"resumed"})",
            R"({"action":"change_mark"})",
            R"({"action":"change_mark","key":"marker/1","text":5})",
            R"({"action":"name_flight","vehicle":"alpha"})",
            R"({"action":"describe_flight","vehicle":"alpha","tags":"a"})",
            R"({"action":"acknowledge"})",
            R"({"action":"shelve","key":"x"})",
            R"({"action":"shelve","key":"x","for_s":"5"})",
            R"({"action":"unshelve","key":"x","for_s":5})",
            R"({"action":"countdown","step":"run"})",
            R"({"action":"countdown","step":"launch"})",
            R"({"action":"countdown","step":"hold","zero_ns":"5"})",
            R"({"action":"countdown","step":"hold","reason":5})",
            R"({"action":"countdown","step":"resume","reason":"wind"})",
            R"({"action":"carried_alert","key":"x"})",
            R"({"action":"engine_total","vehicle":"launch","running_s":null})",
            R"({"action":"procedure","vehicle":"a","procedure":"b","do":"dance","by":"KL"})",
            R"({"action":"step","vehicle":"a","step":"b","do":"done","by":"KL"})",
            R"({"action":"statement","vehicle":"a","check":"b","holds":1,"by":"KL","note":""})",
            R"({"action":"answer","position":"a","by":"KL","note":""})",
            R"({"action":"entered","vehicle":"","name":"a","value":"9","by":"KL"})",
            R"({"action":"station_figure","what":"luck","value":1})",
            R"({"action":"past_procedure","vehicle":"a"})",
            R"({"action":"carried_procedure","vehicle":"a","procedure":"b","by":"","run":1,"t_begun_ns":"1","steps":[{"id":"x"}],"checks":[]})",
            R"({"action":"carried_baseline","vehicle":"a","procedure":"","check":"b","values":[1,"2",3],"t_ns":"1"})",
            "\xff\xfe",
        }) {
        const Action action = action_from_json(json);
        CHECK(action == Action(UnknownAction{json}));
        CHECK(to_json(action) == json);
        Run run;
        run.act(1, action);
        CHECK(run.out.events.empty());
        CHECK(run.pipeline.progress().inputs == 1);
    }
}

TEST_CASE("trouble with the recorder is one alert until it ends, worse where nothing is recorded") {
    Run run;
    run.act(1, RecorderReport{""});
    run.act(2, RecorderReport{"the disk is full; delete old recordings", true});
    run.act(3, RecorderReport{"the disk is full still", true});
    run.act(4, RecorderReport{"the disk is slow", false});
    run.act(7, RecorderReport{""});
    run.pipeline.advance(at(13), run.out);
    CHECK(run.alerts() ==
          std::vector<std::string>{"+recording/fault", "+recording/trouble", "-recording/fault", "-recording/trouble"});
    CHECK(run.out.events.at(0).level == Level::warning);
    CHECK(run.out.events.at(1).level == Level::caution);
    CHECK(run.out.events.at(0).text.find("disk is full") != std::string::npos);
}

TEST_CASE("a disk that hovers about full is one alert, and a computer that slept for a moment none") {
    Run run;
    for (int k = 0; k < 20; ++k) run.act(1 + 0.5 * k, RecorderReport{k % 2 == 0 ? "the disk is full" : "", k % 2 == 0});
    run.pipeline.advance(at(30), run.out);
    CHECK(run.alerts() == std::vector<std::string>{"+recording/fault", "-recording/fault"});
    Run slept;
    slept.act(1, RecorderReport{"1.4 s behind"});
    slept.act(1.5, RecorderReport{""});
    slept.pipeline.advance(at(30), slept.out);
    CHECK(slept.alerts().empty());
}

TEST_CASE("who became operator and who left is said with how many devices may act") {
    Run run;
    run.act(1, OperatorChange{OperatorStep::unlocked, 1});
    run.act(2, OperatorChange{OperatorStep::unlocked, 2});
    run.act(3, OperatorChange{OperatorStep::handed_over, 2});
    run.act(4, OperatorChange{OperatorStep::left, 0});
    std::vector<std::string> said;
    for (const Event& event : run.out.events) {
        CHECK(event.kind == EventKind::operators);
        CHECK(event.level == Level::note);
        said.push_back(event.text);
    }
    CHECK(said == std::vector<std::string>{
                      "An operator unlocked: 1 device may act now", "An operator unlocked: 2 devices may act now",
                      "An operator handed over to another device", "An operator left: no device may act now"});
}

TEST_CASE("estimates that are behind are one caution until they keep up") {
    Run run;
    for (const double behind_s : {0.0, 3.25, 4.5, 0.0, 0.0}) run.act(1, Backlog{behind_s});
    run.pipeline.advance(at(3), run.out);
    CHECK(run.alerts() == std::vector<std::string>{"+station/behind", "-station/behind"});
    CHECK(run.out.events.at(0).level == Level::caution);
    CHECK(run.out.events.at(0).text.find("3.2 s behind") != std::string::npos);
}

TEST_CASE("a station that was down says how long") {
    Run run;
    run.act(20, Resumed{at(7.5)});
    REQUIRE(run.out.events.size() == 1);
    CHECK(run.out.events[0].id == EventId::station_resumed);
    CHECK(run.out.events[0].text.find("down for 12.5 s") != std::string::npos);
}
