/// Reports of recordings over HTTP: a page by itself, counted as a download.
#include <catch2/catch.hpp>

#include "tests/serve/fixture.hpp"

using namespace turnstone;

TEST_CASE("the report of a closed recording is a page that may do nothing but be looked at") {
    const LiveServer live({}, false);
    const std::string target = "/api/recordings/" + record_flight(live.folder.path()) + "/report";
    const HttpReply page = live.get(target);
    REQUIRE(page.status == 200);
    CHECK(page.field("Content-Type") == "text/html; charset=utf-8");
    CHECK(page.body.find("<!doctype html>") == 0);
    CHECK(page.body.find("SHA-256") != std::string::npos);
    const std::string policy = page.field("Content-Security-Policy");
    CHECK(policy.find("default-src 'none'; style-src 'unsafe-inline';") == 0);
    CHECK(policy.find("script-src") == std::string::npos);
    CHECK(http_request(live.port(), "HEAD", target).body.empty());
    CHECK(live.get(target + "?paper=A4").status == 400);
    CHECK(live.post(target, "{}").status == 405);
    CHECK(live.get("/api/recordings/2020-01-01T000000Z-none/report").status == 404);
}

TEST_CASE("the report of the recording under way is about what is in it so far") {
    const LiveServer live;
    Recorder recorder({.directory = live.folder.path(), .commit_interval_ms = 10, .sync_every_commit = false},
                      *golden_setup());
    begin_recording(recorder, *golden_schema());
    REQUIRE(recorder.flush(5000));
    const HttpReply page = live.get("/api/recordings/live/report");
    CHECK(page.status == 200);
    CHECK(page.body.find("still recording") != std::string::npos);
}

TEST_CASE("a report counts as a download of the address that asks for it") {
    const LiveServer live({}, false);
    const std::string target = "/api/recordings/" + record_flight(live.folder.path()) + "/report";
    for (int i = 0; i < 3; ++i) CHECK(live.get(target).status == 200); // one after the other
    CHECK(live.get("/api/counters").body.find("turnstone_budget_refusals_total{budget=\"downloads\"} 0\n") !=
          std::string::npos);
}
