/// A recording with a spoilt page: what can be read is served, and everybody is told that it is not all. The page is
/// found by SQLite's own schema table (SQLite file format, 2.6) and overwritten as a bad sector would.
#include <catch2/catch.hpp>

#include <fstream>

#include "server/record/format/sqlite.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

constexpr const char* kSpoilt = "2026-05-16T080000Z-sanderling";

/// A copy of the fixture's recording in `folder`, with the first page of `table` overwritten.
void make_spoilt(const std::filesystem::path& folder, const std::string& table) {
    const test::TemporaryFolder other;
    const std::string id = record_flight(other.path());
    const std::filesystem::path path = folder / (std::string(kSpoilt) + ".sqlite");
    std::filesystem::copy_file(other.path() / (id + ".sqlite"), path);
    std::int64_t page = 0, page_bytes = 0;
    {
        Database database(path, Database::Mode::read_only);
        page = database.integer("SELECT rootpage FROM sqlite_schema WHERE name = '" + table + "'");
        page_bytes = database.integer("PRAGMA page_size");
    }
    REQUIRE(page > 1);
    std::fstream file(path, std::ios::binary | std::ios::in | std::ios::out);
    file.seekp((page - 1) * page_bytes);
    file << std::string(static_cast<std::size_t>(page_bytes), '\xff');
    REQUIRE(file.flush());
}

} // namespace

TEST_CASE("answers from a damaged recording say that they are not all") {
    const LiveServer live;
    make_spoilt(live.folder.path(), "event");
    const std::string base = std::string("/api/recordings/") + kSpoilt;
    const HttpReply events = live.get(base + "/events");
    CHECK(events.status == 200);
    CHECK(events.json().at("events").empty());
    CHECK(events.json().at("damage").get<std::string>().find("malformed") != std::string::npos);
    // What lies on other pages is there.
    CHECK(live.get(base + "/latest?t_s=5").json().at("latest").size() == 3);
    CHECK(live.get(base + "/series?table=0&points=100").status == 200);
}

TEST_CASE("a sound recording's answers carry no word of damage") {
    const LiveServer live;
    const test::TemporaryFolder other;
    const std::string id = record_flight(other.path());
    std::filesystem::copy_file(other.path() / (id + ".sqlite"),
                               live.folder.path() / (std::string(kSpoilt) + ".sqlite"));
    for (const char* what : {"/events", "/latest?t_s=5", "/frames"})
        CHECK_FALSE(live.get(std::string("/api/recordings/") + kSpoilt + what).json().contains("damage"));
}

TEST_CASE("a replay of a damaged recording says so once and plays what there is") {
    LiveServer live;
    make_spoilt(live.folder.path(), "event");
    StreamClient client(live.port());
    client.next_of("hello");
    client.send(json{{"type", "open"}, {"recording", kSpoilt}, {"request", 1}}.dump());
    CHECK(client.next_of("hello")->json().at("mode") == "replay");
    client.next_of("replay");
    client.send(json{{"type", "play"}, {"rate", 20}, {"request", 2}}.dump());
    const json told = client.next_of("error")->json();
    CHECK_FALSE(told.contains("request"));
    CHECK(told.at("message").get<std::string>().find("the recording is damaged") == 0);
    for (bool ended = false; !ended;) {
        const auto message = client.next();
        REQUIRE(message);
        CHECK(message->type() != "error");
        ended = message->type() == "replay" && message->json().at("cursor_s") == 10.0;
    }
}
