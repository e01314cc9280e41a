/// The counters as OpenMetrics 1.0. The reader that checks them is checked itself, against the expositions of
/// tests/reference/openmetrics.json, whose verdicts are the specification's.
#include <catch2/catch.hpp>

#include "server/serve/encode/counters_text.hpp"
#include "tests/serve/encode/openmetrics.hpp"
#include "tests/serve/fixture.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;

namespace {

const openmetrics::Family& family(const openmetrics::Exposition& exposition, const std::string& name) {
    for (const openmetrics::Family& candidate : exposition.families)
        if (candidate.name == name) return candidate;
    throw std::runtime_error("no family " + name);
}

double value(const openmetrics::Exposition& exposition, const std::string& name,
             const openmetrics::Labels& labels = {}) {
    for (const openmetrics::Sample& sample : family(exposition, name).samples)
        if (sample.labels == labels) return sample.value;
    throw std::runtime_error("no such sample of " + name);
}

} // namespace

TEST_CASE("the reader of expositions gives the specification's verdicts") {
    const nlohmann::json& reference = test::read_reference("openmetrics.json");
    REQUIRE(reference.at("cases").size() == 31);
    for (const auto& c : reference.at("cases")) {
        const auto exposition = openmetrics::read(c.at("exposition").get<std::string>());
        INFO(c.at("id") << ": " << c.at("rule") << ": " << exposition.problem);
        CHECK(exposition.problem.empty() == c.at("valid").get<bool>());
    }
}

TEST_CASE("counters are a valid exposition, with units and types") {
    ServeCounters serve;
    serve.http_answers[2] = 7;
    serve.viewers = 3;
    serve.bytes_sent = 1u << 20;
    RecorderStatus recorder;
    recorder.recording = true;
    recorder.commit_ms_max = 12.5;
    const std::vector<LinkView> links{
        {.name = "radio", .state = LinkState::no_data, .detail = "", .bytes = 1234, .t_last_ns = 0},
        {.name = "odd \"name\"\\\n", .state = LinkState::open, .detail = "", .bytes = 0, .t_last_ns = 0}};
    Budgets budgets(100);
    const auto lease = budgets.take(Budget::replays, {.address = "192.0.2.1", .turn = "", .is_operator = false});
    const std::string text = counters_text(serve, budgets, 5, recorder, links);
    const auto exposition = openmetrics::read(text);
    INFO(exposition.problem << "\n" << text);
    REQUIRE(exposition.problem.empty());
    CHECK(text.ends_with("# EOF\n"));
    for (const openmetrics::Family& f : exposition.families) {
        INFO(f.name);
        CHECK(f.type != "unknown");
        CHECK_FALSE(f.help.empty());
        CHECK_FALSE(f.samples.empty());
    }
    CHECK(value(exposition, "turnstone_http_answers", {{"class", "2xx"}}) == 7);
    CHECK(value(exposition, "turnstone_viewers") == 3);
    CHECK(value(exposition, "turnstone_reads_waiting") == 5);
    CHECK(value(exposition, "turnstone_budget_used", {{"budget", "replays"}}) == 1);
    CHECK(value(exposition, "turnstone_budget_most", {{"budget", "viewers"}}) == 100);
    CHECK(value(exposition, "turnstone_budget_refusals", {{"budget", "replays"}}) == 0);
    CHECK(family(exposition, "turnstone_stream_bytes").unit == "bytes");
    CHECK(family(exposition, "turnstone_stream_bytes").type == "counter");
    CHECK(value(exposition, "turnstone_stream_bytes") == 1u << 20);
    CHECK(family(exposition, "turnstone_recorder_commit_max_seconds").unit == "seconds");
    CHECK(value(exposition, "turnstone_recorder_commit_max_seconds") == 0.0125);
    CHECK(value(exposition, "turnstone_link_bytes", {{"link", "odd \"name\"\\\n"}}) == 0);
    CHECK(family(exposition, "turnstone_link_state").samples.size() == 2 * kWords<LinkState>.size());
    for (const std::string state : {"open", "no_data"})
        CHECK(value(exposition, "turnstone_link_state", {{"link", "radio"}, {"turnstone_link_state", state}}) ==
              (state == "no_data" ? 1 : 0));
}

TEST_CASE("health and counters tell the recorder's fault") {
    LiveServer live;
    CHECK(live.get("/api/health").body == "ok\n");
    CHECK(value(openmetrics::read(live.get("/api/counters").body), "turnstone_recorder_fault") == 0);
    RecorderStatus faulty;
    faulty.recording = true;
    faulty.fault = "the disk is full; free some space";
    live.set_recorder(faulty);
    const HttpReply health = live.get("/api/health");
    CHECK(health.status == 503);
    CHECK(health.body == "the disk is full; free some space\n");
    const HttpReply counters = live.get("/api/counters");
    CHECK(counters.field("Content-Type") == "application/openmetrics-text; version=1.0.0; charset=utf-8");
    const auto exposition = openmetrics::read(counters.body);
    CHECK(exposition.problem.empty());
    CHECK(value(exposition, "turnstone_recorder_fault") == 1);
    CHECK(value(exposition, "turnstone_link_bytes", {{"link", "radio"}}) == 1234);
    CHECK(value(exposition, "turnstone_http_answers", {{"class", "5xx"}}) == 1);
    CHECK(http_request(live.port(), "POST", "/api/counters").status == 405);
    CHECK(live.get("/api/health?x=1").status == 400);
    for (const char* gone : {"/metrics", "/healthz"}) CHECK(live.get(gone).status == 404);
}
