#include <catch2/catch.hpp>

#include <string>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/flights/chapters.hpp"
#include "server/debrief/flights/flight_id.hpp"
#include "server/debrief/flights/open_flight.hpp"
#include "shared/time.hpp"
#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using namespace turnstone::debrief;
using report_test::HandMade;

namespace {

/// The chapters of a hand-made recording that ends at 200 s.
std::vector<Chapter> chapters_of(HandMade& made) {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(made.record(folder, 200));
    REQUIRE(reader);
    return chapters_in(Recorded(*reader));
}

using Spoken = std::pair<EventId, double>;

} // namespace

TEST_CASE("chapters are counted as the dashboard counts them") {
    const auto cases = nlohmann::json::parse(test::read_file(test::source_path("tests/golden/flights/chapters.json")));
    REQUIRE(cases.size() >= 5);
    for (const auto& one : cases) {
        INFO(one.at("about"));
        HandMade made(report_test::demo_setup());
        for (const auto& event : one.at("events")) {
            EventValues values;
            if (event.contains("data")) values.push_back({"name", event["data"]["name"].get<std::string>()});
            made.event(*from_word<EventId>(event.at("event").get<std::string>()), event.at("t_s").get<double>(), values,
                       "", false, 0, event.value("vehicle", 0));
        }
        const auto chapters = chapters_of(made);
        REQUIRE(chapters.size() == one.at("chapters").size());
        for (std::size_t i = 0; i < chapters.size(); ++i) {
            const auto& expected = one.at("chapters")[i];
            CHECK(chapters[i].number == expected.at("number"));
            CHECK(chapters[i].name == expected.at("name"));
            CHECK(chapters[i].window.from_ns == made.at(expected.at("from_s")));
            CHECK(chapters[i].liftoff_ns.has_value() == !expected.at("liftoff_s").is_null());
            if (chapters[i].liftoff_ns) CHECK(*chapters[i].liftoff_ns == made.at(expected.at("liftoff_s")));
        }
    }
}

TEST_CASE("a flight that nobody named is called by its liftoff, as the dashboard calls it") {
    const auto cases = nlohmann::json::parse(test::read_file(test::source_path("tests/golden/flights/names.json")));
    REQUIRE(cases.size() == 4);
    for (const auto& one : cases)
        CHECK(flight_name(one.at("given"), std::stoll(one.at("utc_ns").get<std::string>())) == one.at("name"));
}

TEST_CASE("how a flight ended is told by its phases and by whether it was heard") {
    struct Case {
        const char* about;
        std::vector<std::pair<const char*, double>> phases;
        std::vector<Spoken> events;
        Ended ended;
        double flown_s;
    };
    using enum EventId;
    const Case cases[] = {
        {"down under the main", {{"under main", 60}, {"down", 90}}, {{touchdown, 89}}, Ended::touchdown, 79},
        {"down without a parachute",
         {{"falling (no parachute)", 30}, {"down", 45}},
         {{touchdown, 44}},
         Ended::impact,
         34},
        {"presumed down",
         {{"under drogue", 40}, {"presumed down", 120}},
         {{signal_lost, 60}},
         Ended::presumed_down,
         110},
        {"silent to the end", {{"coasting", 13}}, {{signal_lost, 60}}, Ended::presumed_down, 190},
        {"heard again", {{"coasting", 13}}, {{signal_lost, 60}, {signal_reacquired, 61}}, Ended::under_way, 190},
        {"still flying", {{"coasting", 13}}, {}, Ended::under_way, 190},
    };
    for (const Case& one : cases) {
        INFO(one.about);
        HandMade made(report_test::demo_setup());
        made.event(liftoff, 10);
        for (const auto& [word, t_s] : one.phases) made.event(phase_began, t_s, {{"phase", std::string(word)}}, word);
        for (const auto& [id, t_s] : one.events) made.event(id, t_s);
        const auto chapters = chapters_of(made);
        REQUIRE(chapters.size() == 1);
        CHECK(word(chapters[0].ended) == word(one.ended));
        CHECK(seconds_between(chapters[0].flown().from_ns, chapters[0].flown().to_ns) ==
              Approx(one.flown_s).margin(1e-6));
    }
}

TEST_CASE("a flight that had no parachute when it was heard last is presumed to have hit") {
    using enum EventId;
    struct Heard {
        EventId id;
        double t_s;
        bool cleared = false;
        EventValues values = {};
    };
    const EventValues silent{{"silent", true}};
    const struct {
        const char* about;
        std::vector<Heard> events;
        Ended ended;
    } cases[] = {
        {"the alert stood", {{no_parachute, 30}, {signal_lost, 44}}, Ended::presumed_impact},
        {"it ended with the phase",
         {{no_parachute, 30}, {signal_lost, 44}, {no_parachute, 49, true}},
         Ended::presumed_impact},
        {"it ended in silence",
         {{no_parachute, 30}, {no_parachute, 43, true, silent}, {signal_lost, 44}},
         Ended::presumed_impact},
        {"a parachute was seen",
         {{no_parachute, 30}, {no_parachute, 33, true}, {signal_lost, 44}},
         Ended::presumed_down},
        {"one came out after all",
         {{no_parachute, 30}, {no_parachute, 43, true, silent}, {main_out, 45}, {signal_lost, 60}},
         Ended::presumed_down},
        {"no alert", {{signal_lost, 44}}, Ended::presumed_down},
    };
    for (const auto& one : cases) {
        INFO(one.about);
        HandMade made(report_test::demo_setup());
        made.event(liftoff, 10);
        for (const Heard& heard : one.events) made.event(heard.id, heard.t_s, heard.values, "", heard.cleared);
        const auto chapters = chapters_of(made);
        REQUIRE(chapters.size() == 1);
        CHECK(word(chapters[0].ended) == word(one.ended));
    }
}

TEST_CASE("notes, tags and configuration are the newest of each") {
    HandMade made(report_test::demo_setup());
    using enum EventId;
    made.event(flight_described, 5,
               {{"notes", std::string("camera on")}, {"tags", std::vector<std::string>{"camera", "C6"}}});
    made.event(liftoff, 10);
    made.event(flight_described, 150,
               {{"tags", std::vector<std::string>{"C6"}}, {"configuration", std::string("long fins")}});
    const auto chapters = chapters_of(made);
    REQUIRE(chapters.size() == 1);
    CHECK(chapters[0].notes == "camera on");
    CHECK(chapters[0].tags == std::vector<std::string>{"C6"});
    CHECK(chapters[0].configuration == "long fins");
}

TEST_CASE("the id of a flight is its recording, its vehicle and its number") {
    const FlightId id{"2026-05-17T143205Z-sanderling", "sanderling", 2};
    CHECK(to_string(id) == "2026-05-17T143205Z-sanderling~sanderling~2");
    CHECK(parse_flight_id(to_string(id)) == id);
    for (const char* bad :
         {"", "a", "a~b", "a~b~", "a~b~0", "a~b~-1", "a~b~1x", "~b~1", "a~~1", "a~b~c~1", "a~b~99999999999999999999"}) {
        INFO(bad);
        const auto refused = parse_flight_id(bad);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().message.find("RECORDING~VEHICLE~N") != std::string::npos);
    }
}

TEST_CASE("a flight is opened by its id, and what is none is refused with a sentence") {
    HandMade made(report_test::demo_setup());
    made.event(EventId::liftoff, 10);
    made.event(EventId::ready_again, 60);
    const test::TemporaryFolder folder;
    const std::string recording = made.record(folder, 200).stem().string();
    const Recordings recordings{folder.path()};
    const auto flight = open_flight(recordings, recording + "~sanderling~1");
    REQUIRE(flight);
    CHECK((*flight)->chapter().liftoff_ns == made.at(10));
    CHECK((*flight)->chapter().window.to_ns == made.at(60));
    for (const std::string& bad : {recording + "~sanderling~2", recording + "~sanderling~3", recording + "~another~1",
                                   std::string("nothing~sanderling~1"), std::string("../x~sanderling~1")}) {
        INFO(bad);
        const auto refused = open_flight(recordings, bad);
        REQUIRE_FALSE(refused);
        CHECK_FALSE(refused.error().message.empty());
    }
}
