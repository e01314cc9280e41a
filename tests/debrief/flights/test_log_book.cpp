#include <catch2/catch.hpp>

#include <filesystem>
#include <fstream>
#include <string>
#include <thread>

#include <nlohmann/json.hpp>

#include "server/debrief/flights/log_book.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using namespace turnstone::debrief;
using report_test::HandMade;

namespace {

/// A recording with two flights that begins `day` days after the first; returns its id.
std::string record_two_flights(const test::TemporaryFolder& folder, int day) {
    HandMade made(report_test::demo_setup(), report_test::kStart_ns + day * 86'400'000'000'000);
    made.event(EventId::liftoff, 10);
    made.event(EventId::ready_again, 60);
    made.event(EventId::liftoff, 80);
    return made.record(folder, 120).stem().string();
}

nlohmann::json read_and_list(LogBook& book, const std::string& live_id = "") {
    while (book.read_one(live_id)) {
    }
    return book.list(live_id);
}

std::vector<std::string> ids(const nlohmann::json& list) {
    std::vector<std::string> out;
    for (const auto& each : list) out.push_back(each.at("id"));
    return out;
}

} // namespace

TEST_CASE("the log book lists flights newest first, and what has none or cannot be read beside them") {
    const test::TemporaryFolder folder;
    const std::string first = record_two_flights(folder, 0), second = record_two_flights(folder, 1);
    HandMade quiet(report_test::demo_setup(), report_test::kStart_ns + 2 * 86'400'000'000'000);
    const std::string without = quiet.record(folder, 20).stem().string();
    std::ofstream(folder.recording("2026-05-01T000000Z-broken")) << "SQLite format 3, but not for long";

    LogBook book(folder.path());
    const auto listed = read_and_list(book);
    CHECK(listed["unread"] == 0);
    CHECK(ids(listed["flights"]) == std::vector<std::string>{second + "~sanderling~2", second + "~sanderling~1",
                                                             first + "~sanderling~2", first + "~sanderling~1"});
    CHECK(ids(listed["recordings_without"]) == std::vector<std::string>{without, "2026-05-01T000000Z-broken"});
    CHECK(listed["recordings_without"][0]["damage"] == "");
    CHECK(listed["recordings_without"][1]["damage"] != "");
    CHECK(listed["flights"][0]["live"] == false);
    CHECK(read_and_list(book, second)["flights"][0]["live"] == true);
}

TEST_CASE("a recording with damage within says what happened to it and what to do, in words") {
    const test::TemporaryFolder folder;
    const std::string id = record_two_flights(folder, 0);
    const auto path = folder.recording(id);
    {
        Database database(path, Database::Mode::read_only);
        const auto page_bytes = database.integer("PRAGMA page_size");
        const auto page = database.integer("SELECT rootpage FROM sqlite_schema WHERE name = 'event'");
        std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
        file.seekp((page - 1) * page_bytes);
        file << std::string(static_cast<std::size_t>(page_bytes), 'Z');
    }
    LogBook book(folder.path());
    const auto listed = read_and_list(book);
    REQUIRE(ids(listed["recordings_without"]) == std::vector<std::string>{id});
    const std::string damage = listed["recordings_without"][0]["damage"];
    CHECK_THAT(damage, Catch::Contains("a part of it cannot be read") &&
                           Catch::Contains("turnstone reprocess " + path.string()) && !Catch::Contains("SELECT"));
}

TEST_CASE("a recording is read when it changed, and not again after a new start") {
    const test::TemporaryFolder folder;
    const std::string first = record_two_flights(folder, 0);
    record_two_flights(folder, 1);
    LogBook book(folder.path());
    const auto listed = read_and_list(book);
    CHECK(book.reads() == 2);
    CHECK(read_and_list(book) == listed);
    CHECK(book.reads() == 2);
    REQUIRE(std::filesystem::exists(folder.path() / LogBook::kFile));

    LogBook next(folder.path());
    CHECK(read_and_list(next) == listed);
    CHECK(next.reads() == 0);
    REQUIRE(set_recording_meta(folder.recording(first), "archived", "1"));
    const auto changed = read_and_list(next);
    CHECK(next.reads() == 1);
    CHECK(changed["flights"][2]["archived"] == true);
    CHECK(changed["flights"][0]["archived"] == false);
    std::filesystem::remove(folder.recording(first));
    CHECK(read_and_list(next)["flights"].size() == 2);
}

TEST_CASE("a recording under way is read again now and then, and is unread only until it was read first") {
    const test::TemporaryFolder folder;
    record_two_flights(folder, 0);
    const std::string live = record_two_flights(folder, 1);
    LogBook book(folder.path());
    CHECK(book.list(live)["unread"] == 2);
    CHECK(read_and_list(book, live)["unread"] == 0);
    // It changes, and what was read holds no longer.
    std::filesystem::last_write_time(folder.recording(live), std::filesystem::file_time_type::clock::now());
    std::this_thread::sleep_for(LogBook::kLiveHolds);
    CHECK(book.list(live)["unread"] == 0);
    CHECK(book.read_one(live));
    CHECK(book.reads() == 3);
    // Once it is closed it counts.
    std::filesystem::last_write_time(folder.recording(live), std::filesystem::file_time_type::clock::now());
    CHECK(book.list("")["unread"] == 1);
}

TEST_CASE("what is in the kept file and is not from this program is passed over") {
    for (const std::string kept : {"", "{", "[]", R"({"made_by":"another","recordings":{}})", R"({"recordings":7})"}) {
        INFO(kept);
        const test::TemporaryFolder folder;
        record_two_flights(folder, 0);
        std::ofstream(folder.path() / LogBook::kFile) << kept;
        LogBook book(folder.path());
        CHECK(read_and_list(book)["flights"].size() == 2);
        CHECK(book.reads() == 1);
    }
}

TEST_CASE("a list has what is known, and how much is still to be read") {
    const test::TemporaryFolder folder;
    for (int day = 0; day < 3; ++day) record_two_flights(folder, day);
    LogBook book(folder.path());
    const auto nothing = book.list("");
    CHECK(nothing["unread"] == 3);
    CHECK(nothing["flights"].empty());
    CHECK(book.read_one(""));
    const auto newest = book.list("");
    CHECK(newest["unread"] == 2);
    CHECK(newest["flights"].size() == 2);
    CHECK(read_and_list(book)["unread"] == 0);
    CHECK(book.begin_reading());
    CHECK_FALSE(book.begin_reading()); // one reads them all
    book.end_reading();
    CHECK(book.begin_reading());
    book.stop();
    record_two_flights(folder, 4);
    CHECK_FALSE(book.read_one(""));
    CHECK(book.list("")["unread"] == 1);
}
