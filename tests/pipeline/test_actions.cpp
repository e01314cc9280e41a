// Operator actions and the link thread's word on its links become events.
#include <catch2/catch.hpp>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kStart = 1'780'000'000 * kNsPerS;

struct Run {
    PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}});
    Pipeline pipeline{setup, kStart};
    Batch out;
    void act(double at_s, const std::string& json) { pipeline.action(kStart + seconds_to_ns(at_s), json, out); }
    [[nodiscard]] std::vector<std::string> alerts() const {
        std::vector<std::string> found;
        for (const Event& event : out.events) {
            if (event.kind == EventKind::alert_raised) found.push_back("+" + event.key);
            if (event.kind == EventKind::alert_cleared) found.push_back("-" + event.key);
        }
        return found;
    }
};

std::string link_state(const std::string& state) {
    return R"({"action":"link_state","link":"radio","state":")" + state + R"(","detail":"because"})";
}

} // namespace

TEST_CASE("a link that goes away raises one caution, and clears it when it comes back") {
    struct Case {
        std::vector<std::string> states;
        std::vector<std::string> alerts;
    };
    const std::string raised = "+link/radio/down", cleared = "-link/radio/down";
    const std::vector<Case> table{
        {{"opening", "open"}, {}},
        {{"opening", "refused", "opening", "refused", "opening", "open"}, {raised, cleared}},
        {{"open", "silent", "open"}, {raised, cleared}},
        {{"open", "silent", "lost", "refused", "open", "lost"}, {raised, cleared, raised}},
        {{"open", "ended"}, {}},
        {{"open", "lost", "ended"}, {raised, cleared}},
    };
    for (const Case& one : table) {
        Run run;
        for (const std::string& state : one.states) run.act(1, link_state(state));
        CHECK(run.alerts() == one.alerts);
        CHECK(std::count_if(run.out.events.begin(), run.out.events.end(), [](const Event& e) {
                  return e.kind == EventKind::link_state;
              }) == static_cast<std::ptrdiff_t>(one.states.size()));
        for (const Event& event : run.out.events) {
            CHECK(event.text.find("radio") != std::string::npos);
            CHECK(event.text.find("because") != std::string::npos);
            CHECK(nlohmann::json::parse(event.data_json).at("link") == "radio");
            if (event.kind == EventKind::alert_raised) CHECK(event.level == Level::caution);
        }
    }
}

TEST_CASE("markers stand where they were set, never before the start or ahead of the head") {
    Run run;
    run.act(10, R"({"action":"marker","text":"here"})");
    run.act(11, R"({"action":"marker","text":"back","t_ns":")" + std::to_string(kStart + 4 * kNsPerS) + "\"}");
    run.act(12, R"({"action":"marker","text":"too far","t_ns":")" + std::to_string(kStart + 99 * kNsPerS) + "\"}");
    run.act(13, R"({"action":"marker","text":"too early","t_ns":1})");
    REQUIRE(run.out.events.size() == 4);
    const double expected_s[] = {10, 4, 12, 0}, found_s[] = {10, 11, 12, 13};
    for (std::size_t k = 0; k < 4; ++k) {
        CHECK(run.out.events[k].kind == EventKind::marker);
        CHECK(seconds_between(kStart, run.out.events[k].t_ns) == expected_s[k]);
        CHECK(seconds_between(kStart, run.out.events[k].t_found_ns) == found_s[k]);
    }
}

TEST_CASE("what is no known action is kept as a note, word for word") {
    for (const std::string& json :
         {std::string("plain words"), std::string("{\"action\":"), std::string("[1,2]"), std::string("{}"),
          std::string(R"({"action":"dance"})"), std::string(R"({"action":3})"),
          std::string(R"({"action":"link_state","link":"nowhere","state":"open"})"),
          std::string(R"({"action":"link_state","link":"radio","state":"sideways"})"), std::string("\xff\xfe")}) {
        Run run;
        run.act(1, json);
        REQUIRE(run.out.events.size() == 1);
        CHECK(run.out.events[0].kind == EventKind::note);
        // Octets that are no UTF-8 are replaced in the event (Unicode 3.9) and kept in the recorded action.
        CHECK(run.out.events[0].text == (json == "\xff\xfe" ? "\uFFFD\uFFFD" : json));
        REQUIRE(run.out.actions.size() == 1);
        CHECK(run.out.actions[0].json == json);
    }
    Run run;
    run.act(1, R"({"action":"note","text":"wind is up"})");
    run.act(9, R"({"action":"note","text":"was up","t_ns":")" + std::to_string(kStart + 2 * kNsPerS) + "\"}");
    CHECK(run.out.events.at(0).text == "wind is up");
    CHECK(run.out.events.at(1).t_ns == kStart + 2 * kNsPerS);
}

TEST_CASE("a recorder in trouble is one caution until recording works again") {
    Run run;
    run.act(1, R"({"action":"recording_state","fault":""})");
    run.act(2, R"({"action":"recording_state","fault":"the disk is full; delete old recordings"})");
    run.act(3, R"({"action":"recording_state","fault":"the disk is full still"})");
    run.act(4, R"({"action":"recording_state","fault":""})");
    CHECK(run.alerts() == std::vector<std::string>{"+recording/fault", "-recording/fault"});
    CHECK(run.out.events.at(0).level == Level::caution);
    CHECK(run.out.events.at(0).text.find("disk is full") != std::string::npos);
}

TEST_CASE("a time that goes back counts as the latest seen") {
    Run run;
    run.act(5, R"({"action":"note","text":"a"})");
    run.act(3, R"({"action":"note","text":"b"})");
    run.pipeline.chunk(0, kStart, kStart, Bytes{std::byte{0}}, run.out);
    CHECK(run.out.actions[1].t_ns == kStart + 5 * kNsPerS);
    CHECK(run.out.chunks[0].t_rx_ns == kStart + 5 * kNsPerS);
    CHECK(run.out.chunks[0].input == 2);
}
