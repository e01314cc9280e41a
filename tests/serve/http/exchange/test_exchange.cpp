/// Flights exported over HTTP, and logs that a browser brings.
#include <catch2/catch.hpp>

#include <string>

#include <nlohmann/json.hpp>

#include "tests/report/recording.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;
using report_test::HandMade;

namespace {

/// A flight whose vertical estimate has a row each second; returns the flight's id.
std::string record_climb(const LiveServer& live) {
    HandMade made(report_test::demo_setup());
    made.event(EventId::liftoff, 10);
    for (int second = 0; second < 30; ++second)
        made.row("sanderling/estimate/vertical", second, {{"altitude_m", 10.0 * second}});
    return made.record(live.folder, 40).stem().string() + "~sanderling~1";
}

} // namespace

TEST_CASE("a flight is exported as an attachment, and nothing is left beside the recordings") {
    const LiveServer live({}, false);
    const std::string target = "/api/flights/" + record_climb(live) + "/export";
    const HttpReply csv = live.get(target + "?format=csv&channels=estimate/vertical.altitude_m&from_s=5&to_s=8");
    REQUIRE(csv.status == 200);
    CHECK(csv.field("Content-Type") == "text/csv; charset=utf-8; header=present");
    CHECK(csv.field("Content-Disposition").find('~') == std::string::npos);
    CHECK(csv.field("Content-Disposition").find("-sanderling-1.csv\"") != std::string::npos);
    CHECK(csv.body.starts_with("utc,t_s [s],sanderling/estimate/vertical.altitude_m [m]\r\n"));
    CHECK(csv.body.find(",5,50\r\n") != std::string::npos);
    CHECK(csv.body.ends_with(",7,70\r\n"));
    const HttpReply npz = live.get(target + "?format=npz");
    CHECK(npz.status == 200);
    CHECK(npz.body.starts_with("PK\x03\x04"));
    for (const std::string& name : live.folder.names()) CHECK(!name.starts_with(".copy-"));
}

TEST_CASE("who has an export's last octet may ask for the next at once") {
    const LiveServer live({}, false);
    const std::string target = "/api/flights/" + record_climb(live) + "/export";
    for (int round = 0; round < 60; ++round) {
        const HttpReply reply = live.get(target);
        INFO(round << ": " << reply.body);
        REQUIRE(reply.status == 200);
    }
}

TEST_CASE("an export that cannot be is refused by name") {
    const LiveServer live({}, false);
    const std::string flight = record_climb(live), target = "/api/flights/" + flight + "/export";
    struct Case {
        std::string target;
        unsigned status;
        std::string says;
    };
    for (const Case& each :
         {Case{target + "?format=xls", 400, "there are csv"}, Case{target + "?channels=speed", 400, "speed"},
          Case{target + "?color=red", 400, "color"}, Case{target + "?from_s=now", 400, "from_s"},
          Case{target + "?from_s=9&to_s=8", 400, "ends before"},
          Case{target + "?format=raw&channels=x", 400, "links are"},
          Case{"/api/flights/nothing~sanderling~1/export", 404, "nothing"}}) {
        const HttpReply reply = live.get(each.target);
        INFO(each.target << ": " << reply.body);
        CHECK(reply.status == each.status);
        CHECK(reply.json().at("error").get<std::string>().find(each.says) != std::string::npos);
    }
    CHECK(live.post(target, "{}").status == 405);
}

TEST_CASE("an operator brings a log in pieces and gets a first look, and nobody else may") {
    const LiveServer live({}, false);
    const std::string flight = record_climb(live);
    const Fields cookie = live.operator_cookie();
    const auto upload = [&](const std::string& query, const std::string& body, bool as_operator = true) {
        Fields fields{{"Content-Type", "application/octet-stream"}};
        if (as_operator) fields.insert(fields.end(), cookie.begin(), cookie.end());
        return http_request(live.port(), "POST", "/api/import/upload" + query, fields, body);
    };
    CHECK(upload("?at=0", "t,a\n", false).status == 403);
    CHECK(live.post("/api/import/upload?at=0", "{}", cookie).status == 415);
    const HttpReply first = upload("?at=0", "time_ms,static_pressure\n1,");
    REQUIRE(first.status == 200);
    CHECK(first.json().at("bytes") == 26);
    const std::string key = first.json().at("upload");
    CHECK(upload("?upload=" + key + "&at=20", "x").status == 409);
    CHECK(upload("?upload=../x&at=20", "x").status == 400);
    CHECK(upload("?at=20", "x").status == 400);
    const HttpReply last = upload("?upload=" + key + "&at=26&flight=" + flight, "90000\n2,90001\n");
    INFO(last.body);
    REQUIRE(last.status == 200);
    CHECK(last.json().at("kind") == "columns");
    CHECK(last.json().at("columns")[1].at("first") == json{"90000", "90001"});
    CHECK(last.json().at("mapping").at("time").at("column") == "time_ms");
    CHECK(last.json().at("mapping").at("columns")[0].at("channel") == "baro.static_pressure");
    for (int i = 0; i < 3; ++i) CHECK(upload("?at=0", "t,a\n").status == 200);
    CHECK(upload("?at=0", "t,a\n").status == 503); // as many as may be at once
}
