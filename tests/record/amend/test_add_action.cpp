#include <catch2/catch.hpp>

#include <algorithm>
#include <filesystem>
#include <iterator>
#include <set>
#include <string>
#include <vector>

#include "server/record/amend/add_action.hpp"
#include "server/record/derive.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/recording_claim.hpp"
#include "tests/record/demo_flight.hpp"

namespace turnstone {
namespace {

using namespace record_test;

/// A recording as the station's upkeep leaves it.
std::filesystem::path record_whole(const TemporaryFolder& directory) {
    auto path = directory.recording(record_flight(directory, demo_setup()));
    REQUIRE(finish_recording(path));
    return path;
}

std::vector<Event> operator_events(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    std::vector<Event> found;
    for (Event& event : reader->events(0, kLast_ns))
        if (event.kind == EventKind::marker || event.kind == EventKind::note || event.id == EventId::flight_named ||
            event.id == EventId::flight_described)
            found.push_back(std::move(event));
    return found;
}

TEST_CASE("what is written into a closed recording is in it as if it had been done at its end") {
    const TemporaryFolder directory;
    const auto path = record_whole(directory);
    const std::size_t before = operator_events(path).size();
    const std::string key_of_last = operator_events(path).back().key;
    const Action actions[] = {Marker{"drogue seen", kStart_ns + 4'000 * kMs},
                              Note{"windy"},
                              NameFlight{"sanderling", "First hop"},
                              DescribeFlight{.vehicle = "sanderling", .notes = "n", .tags = {{"C6"}}},
                              ChangeMark{key_of_last, "look there"},
                              ChangeMark{"marker/1"}};
    for (const Action& action : actions) {
        const auto added = add_action(path, action);
        INFO((added ? "" : added.error().message));
        REQUIRE(added);
    }
    const auto events = operator_events(path);
    REQUIRE(events.size() == before + std::size(actions));
    std::vector<std::string> texts;
    for (const Event& event : events) texts.push_back(event.text);
    for (const char* text : {"drogue seen", "windy", "Flight named \"First hop\"", "look there"})
        CHECK(std::ranges::count(texts, text) == 1);
    std::set<std::string> keys;
    for (const Event& event : events)
        if (event.kind == EventKind::marker) keys.insert(event.key);
    CHECK(keys.size() == before + 1); // a bookmark has a key of its own

    const auto report = verify_recording(path);
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->actions == kFlightActions + std::size(actions));

    const TemporaryFolder output;
    const auto again = reprocess(path, {}, output.path());
    REQUIRE(again);
    CHECK(operator_events(*again).size() == events.size());
}

TEST_CASE("nothing is written into a recording that is not closed, not whole, or of another") {
    const TemporaryFolder directory;
    const auto path = record_whole(directory);
    const auto refused = [&](const std::string& part) {
        const auto added = add_action(path, Marker{"x"});
        REQUIRE_FALSE(added);
        INFO(added.error().message);
        CHECK(added.error().message.find(part) != std::string::npos);
    };
    SECTION("being written") {
        const auto claim = RecordingClaim::take(path);
        REQUIRE(claim);
        refused("is being written");
    }
    SECTION("not closed") {
        Database(path, Database::Mode::read_write).execute("DELETE FROM meta WHERE key = 'ended'");
        refused("not complete");
    }
    SECTION("without what follows from its last inputs") {
        Database(path, Database::Mode::read_write).execute("UPDATE meta SET value = '3' WHERE key = 'derived_inputs'");
        refused("not complete");
    }
    SECTION("cut short") {
        std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
        refused("cut short");
    }
    SECTION("an action that is not an operator's") {
        const auto added = add_action(path, Backlog{3});
        REQUIRE_FALSE(added);
        CHECK(verify_recording(path)->differences == 0);
    }
}

} // namespace
} // namespace turnstone
