/// The log book over HTTP, and what operators write into it.
#include <catch2/catch.hpp>

#include <chrono>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/report/recording.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using namespace std::chrono_literals;
using nlohmann::json;
using report_test::HandMade;

namespace {

/// Two flights, in a recording that begins `day` days after the live tape; returns its id.
std::string record_flights(const LiveServer& live, int day) {
    HandMade made(report_test::demo_setup(), report_test::kStart_ns + day * 86'400'000'000'000);
    made.event(EventId::liftoff, 10);
    made.event(EventId::ready_again, 60);
    made.event(EventId::liftoff, 80);
    return made.record(live.folder, 120).stem().string();
}

json log_book(const LiveServer& live) {
    for (;;) {
        const HttpReply reply = live.get("/api/flights");
        REQUIRE(reply.status == 200);
        json listed = reply.json();
        if (listed.at("unread") == 0) return listed;
        std::this_thread::sleep_for(5ms);
    }
}

json flight_of(const LiveServer& live, const std::string& id) {
    const json listed = log_book(live);
    for (const json& flight : listed.at("flights"))
        if (flight.at("id") == id) return flight;
    return nullptr;
}

HttpReply delete_request(const LiveServer& live, const std::string& target, const Fields& fields = {}) {
    return http_request(live.port(), "DELETE", target, fields);
}

} // namespace

TEST_CASE("what an operator writes into a flight of a closed recording is in the log book and in the recording") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    const std::string recording = record_flights(live, 1), first = recording + "~sanderling~1",
                      second = recording + "~sanderling~2";
    REQUIRE(log_book(live).at("flights").size() == 2);
    const auto post = [&](const std::string& id, const json& body) {
        return live.post("/api/flights/" + id, body.dump(), cookie);
    };
    CHECK(post(first, {{"name", "Frist"}}).status == 200);
    const HttpReply written =
        post(first, {{"name", "Flight 7"}, {"notes", "windy"}, {"tags", {"camera"}}, {"configuration", "long fins"}});
    CHECK(written.body == "{}");
    CHECK(post(second, {{"notes", "calm"}}).status == 200);
    const json one = flight_of(live, first), two = flight_of(live, second);
    CHECK((one.at("name") == "Flight 7" && one.at("notes") == "windy" && one.at("configuration") == "long fins"));
    CHECK(one.at("tags") == json{"camera"});
    CHECK((two.at("name") == "" && two.at("notes") == "calm"));

    CHECK(live.post("/api/flights/" + first + "/bookmarks", R"({"t_s":12.5,"text":"drogue seen"})", cookie).status ==
          200);
    std::string key;
    const json events = live.get("/api/recordings/" + recording + "/events").json();
    for (const json& event : events.at("events"))
        if (event.at("event") == "marker") {
            CHECK(event.at("t_s") == 12.5);
            CHECK(event.at("text") == "drogue seen");
            key = event.at("key");
        }
    REQUIRE_FALSE(key.empty());
    const json change{{"key", key}, {"text", "drogue out"}};
    CHECK(live.post("/api/flights/" + first + "/bookmarks", change.dump(), cookie).status == 200);
    CHECK(live.get("/api/recordings/" + recording + "/events").body.find("drogue out") != std::string::npos);

    for (const json& nobody : {json(recording + "~sanderling~3"), json("2020-01-01T000000Z-x~sanderling~1"),
                               json("nothing"), json("..%2Fx~a~1")})
        CHECK(post(nobody.get<std::string>(), {{"name", "x"}}).status == 404);
    CHECK(post(first, json::object()).status == 400);
}

TEST_CASE("what is written into the live recording goes to its writer as actions") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    REQUIRE(record_flights(live, 0) == kTapeId); // stands for the file of the live recording
    const std::string id(kTapeId);
    CHECK(flight_of(live, id + "~sanderling~2").at("live") == true);
    const std::string before = test::read_file(live.folder.recording(id));
    const auto post = [&](const std::string& target, const json& body) {
        return live.post("/api/flights/" + target, body.dump(), cookie).status;
    };
    CHECK(post(id + "~sanderling~2", {{"name", "Second"}, {"tags", {"C6"}}}) == 200);
    CHECK(post(id + "~sanderling~1", {{"name", "First"}}) == 200);
    CHECK(post(id + "~sanderling~2/bookmarks", {{"t_s", 85}, {"text", "here"}}) == 200);
    // The flight before is named at its end, which is when the vehicle was ready again.
    const std::string end = std::to_string(report_test::kStart_ns + 60'000'000'000 - 1);
    CHECK(live.actions() ==
          std::vector<std::string>{
              R"({"action":"name_flight","name":"Second","vehicle":"sanderling"})",
              R"({"action":"describe_flight","tags":["C6"],"vehicle":"sanderling"})",
              R"({"action":"name_flight","name":"First","t_ns":")" + end + R"(","vehicle":"sanderling"})",
              R"({"action":"marker","t_ns":")" + std::to_string(report_test::kStart_ns + 85'000'000'000) +
                  R"(","text":"here"})"});
    CHECK(test::read_file(live.folder.recording(id)) == before);
    for (const HttpReply& refused :
         {delete_request(live, "/api/recordings/" + id, cookie), delete_request(live, "/api/recordings/live", cookie),
          live.post("/api/recordings/" + id + "/archive", R"({"archived":true})", cookie)}) {
        CHECK(refused.status == 409);
        CHECK(refused.json().at("error").get<std::string>().find("under way") != std::string::npos);
    }
}

TEST_CASE("a deleted recording comes back within the day, and an archived one is marked") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    const std::string recording = record_flights(live, 1), kept = record_flights(live, 2);
    REQUIRE(log_book(live).at("flights").size() == 4);
    CHECK(delete_request(live, "/api/recordings/" + recording, cookie).status == 200);
    json listed = log_book(live);
    CHECK(listed.at("flights").size() == 2);
    REQUIRE(listed.at("removed").size() == 1);
    CHECK(listed.at("removed")[0].at("id") == recording);
    CHECK(delete_request(live, "/api/recordings/" + recording, cookie).status == 404);
    CHECK(live.post("/api/recordings/" + recording + "/restore", "{}", cookie).status == 200);
    CHECK(live.post("/api/recordings/" + recording + "/restore", "{}", cookie).status == 404);
    // What a cancelled import left goes with the next look, too.
    const auto cancelled = live.folder.write(".upload-cancelled", "half a log");
    std::filesystem::last_write_time(cancelled, std::filesystem::file_time_type::clock::now() - 11min);
    CHECK(log_book(live).at("removed").empty());
    CHECK(!std::filesystem::exists(cancelled));

    CHECK(live.post("/api/recordings/" + kept + "/archive", R"({"archived":true})", cookie).status == 200);
    CHECK(flight_of(live, kept + "~sanderling~1").at("archived") == true);
    CHECK(flight_of(live, recording + "~sanderling~1").at("archived") == false);
    CHECK(live.post("/api/recordings/" + kept + "/archive", R"({"archived":false})", cookie).status == 200);
    CHECK(flight_of(live, kept + "~sanderling~1").at("archived") == false);
}

TEST_CASE("viewers read the log book and change nothing") {
    const LiveServer live;
    const std::string recording = record_flights(live, 1), flight = recording + "~sanderling~1";
    CHECK(log_book(live).at("flights").size() == 2);
    CHECK(live.post("/api/flights/" + flight, R"({"name":"x"})").status == 403);
    CHECK(live.post("/api/flights/" + flight + "/bookmarks", R"({"t_s":1,"text":"x"})").status == 403);
    CHECK(live.post("/api/recordings/" + recording + "/archive", R"({"archived":true})").status == 403);
    CHECK(live.post("/api/recordings/" + recording + "/restore", "{}").status == 403);
    CHECK(delete_request(live, "/api/recordings/" + recording).status == 403);
    CHECK(live.get("/api/flights/" + flight).status == 405);
    CHECK(live.get("/api/flights?x=1").status == 400);
    CHECK(live.get("/api/flights/" + flight + "/nothing").status == 404);
    CHECK(std::filesystem::exists(live.folder.recording(recording)));
}

TEST_CASE("jobs are asked for by their kind, and looked at by their id") {
    const LiveServer live;
    for (const char* body : {R"({"job":"nothing"})", R"({"flight":"x"})", "[]"})
        CHECK(live.post("/api/jobs", body).status == 400);
    CHECK(live.get("/api/jobs").status == 405);
    for (const char* id : {"j1", "j", "1", "..."}) {
        CHECK(live.get(std::string("/api/jobs/") + id).status == 404);
        CHECK(delete_request(live, std::string("/api/jobs/") + id).status == 404);
    }
    CHECK(live.post("/api/jobs/j1", "{}").status == 405);
}
