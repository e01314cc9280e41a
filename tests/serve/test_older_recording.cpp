/// A recording that an older version wrote, as a browser asks for it: everything in it is shown as it is. The vehicle's
/// files inside it are ones that this version does not read (see tests/record).
#include <catch2/catch.hpp>

#include <algorithm>

#include "tests/serve/fixture.hpp"
#include "tests/support/older_recording.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

constexpr const char* kOlder = "2026-05-16T080000Z-knot";

struct OlderServed {
    OlderServed() { test::write_older_recording(live.folder.recording(kOlder)); }
    [[nodiscard]] json get(const std::string& what) const {
        const HttpReply reply = live.get(std::string("/api/recordings/") + kOlder + what);
        INFO(what << ": " << reply.body);
        REQUIRE(reply.status == 200);
        return reply.json();
    }
    LiveServer live;
};

std::string table_number(const json& description, const std::string& name) {
    for (const json& table : description.at("tables"))
        if (table.at("name") == name) return table.at("id").dump();
    throw std::runtime_error("no table " + name);
}

void check_description(const json& description) {
    CHECK(description.at("vehicles") ==
          json::parse(R"([{"name": "knot", "title": "Knot", "dictionary_version": "0.3.0", "has_rocket": true,
                           "parachutes": [], "procedures": [], "readiness": null}])")); // keys that this version does
                                                                                        // not read
    CHECK(description.at("site").at("name") == "Lantern Flat");
    REQUIRE(description.at("links").size() == 2);
    CHECK(description.at("links")[0].at("name") == "radio");
    CHECK(description.at("links")[1].at("name") == "backup");
    CHECK(description.at("recording").at("damage") == "");
}

} // namespace

TEST_CASE("an older recording is described, read and drawn") {
    const OlderServed older;
    const json description = older.get("/description");
    check_description(description);

    const json events = older.get("/events").at("events");
    const auto keyed = [&](const std::string& key) {
        return *std::ranges::find_if(events, [&](const json& event) { return event.at("key") == key; });
    };
    CHECK(keyed("knot/flight/apogee").at("text") == "Apogee");
    CHECK(keyed("knot/flight/apogee").at("event") == nullptr);
    CHECK(keyed("link/backup/down").at("level") == "caution");

    const json frames = older.get("/frames?limit=500").at("frames");
    REQUIRE(frames.size() == 500);
    CHECK(std::ranges::all_of(
        frames, [](const json& frame) { return !frame.at("hex").get<std::string>().empty(); }));
    CHECK(std::ranges::any_of(
        frames, [](const json& frame) { return frame.at("link") == "radio"; }));
    CHECK(std::ranges::any_of(frames, [](const json& frame) { return frame.at("packet_verdict") == "duplicate"; }));
    const json backup = older.get("/frames?link=backup").at("frames");
    CHECK(!backup.empty());
    CHECK(std::ranges::all_of(backup, [](const json& frame) { return frame.at("link") == "backup"; }));

    // The newest of each kind, against all of them.
    for (const std::string which : {"good", "bad"}) {
        json last;
        for (std::string page = "/frames?link=radio&limit=500"; true;) {
            const json more = older.get(page).at("frames");
            if (more.empty()) break;
            for (const json& frame : more) {
                const bool good =
                    frame.at("packet_verdict") != "bad_frame" && frame.at("packet_verdict") != "undecodable";
                if (good == (which == "good")) last = frame;
            }
            page = "/frames?link=radio&limit=500&after=" + more.back().at("id").dump();
        }
        REQUIRE(!last.is_null());
        CHECK(older.get("/frames?link=radio&newest=" + which).at("frames") == json::array({last}));
    }

    const HttpReply series =
        older.live.get(std::string("/api/recordings/") + kOlder +
                       "/series?columns=altitude_m&table=" + table_number(description, "knot/estimate/vertical"));
    CHECK(series.status == 200);
    CHECK(series.body.starts_with("TSS1"));
    CHECK(older.get("/latest").at("latest").size() == description.at("tables").size());
}

TEST_CASE("an older recording is replayed") {
    const OlderServed older;
    StreamClient client(older.live.port());
    client.next_of("hello");
    client.send(json{{"type", "open"}, {"recording", kOlder}, {"request", 1}}.dump());
    const auto hello = client.next_of("hello");
    REQUIRE(hello);
    CHECK(hello->json().at("mode") == "replay");
    check_description(hello->json().at("description"));
    const auto opened = client.next_of("replay");
    REQUIRE(opened);
    const double t_end_s = opened->json().at("t_end_s").get<double>();
    CHECK(t_end_s > 50);
    client.send(json{{"type", "seek"}, {"t_s", t_end_s - 1}, {"request", 2}}.dump());
    const auto sought = client.next_of("replay");
    REQUIRE(sought);
    CHECK(!sought->json().at("latest").empty());
    client.send(json{{"type", "play"}, {"rate", 20}, {"request", 3}}.dump());
    CHECK(client.next_of("binary"));
}
