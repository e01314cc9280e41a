/// Who may do what with procedures and the poll, over a real socket. A position's device may answer for its position,
/// and nothing else.
#include <catch2/catch.hpp>

#include "server/pipeline/events.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

const std::vector<std::pair<std::string, std::string>> kRequests{
    {"/api/live/procedure", R"({"vehicle":"sanderling","procedure":"bench","do":"begin","by":"KL"})"},
    {"/api/live/step", R"({"vehicle":"sanderling","step":"power","do":"done","by":"KL"})"},
    {"/api/live/statement", R"({"vehicle":"sanderling","check":"clear","holds":true,"by":"KL"})"},
    {"/api/live/entered", R"({"name":"wind_gust_mps","value":4,"by":"KL"})"},
    {"/api/live/poll", R"({"position":"weather","do":"ask"})"},
    {"/api/live/answer", R"({"position":"weather","go":true,"by":"KL"})"},
    {"/api/live/position", R"({"position":"weather"})"}};

/// The key of a new link for the position.
std::string given_key(const LiveServer& live, const std::string& position) {
    const HttpReply reply =
        live.post("/api/live/position", json{{"position", position}}.dump(), live.operator_cookie());
    REQUIRE(reply.status == 200);
    const std::string link = json::parse(reply.body).at("link");
    const std::string before = "#/ready?position=" + position + "&key=";
    REQUIRE(link.find(before) != std::string::npos);
    CHECK(json::parse(reply.body).at("svg").get<std::string>().starts_with("<svg"));
    return link.substr(link.find(before) + before.size());
}

HttpReply trade(const LiveServer& live, const std::string& key, const std::string& position,
                const Fields& fields = {}) {
    return live.post("/api/session", json{{"key", key}, {"position", position}}.dump(), fields);
}

Fields cookie_of(const HttpReply& reply) {
    const std::string cookie = reply.field("Set-Cookie");
    CHECK(cookie.find("HttpOnly; SameSite=Strict") != std::string::npos);
    return {{"Cookie", cookie.substr(0, cookie.find(';'))}};
}

} // namespace

TEST_CASE("procedures and the poll are the operator's, and each request becomes its action") {
    const LiveServer live;
    for (const auto& [target, body] : kRequests) {
        INFO(target);
        CHECK(live.post(target, body).status == 403);
        CHECK(live.get(target).status == 405);
    }
    CHECK(live.actions().empty());
    const Fields cookie = live.operator_cookie();
    for (const auto& [target, body] : kRequests) {
        INFO(target);
        CHECK(live.post(target, body, cookie).status == 200);
        CHECK(live.post(target, "{}", cookie).status == 400);
    }
    std::vector<std::string> kinds;
    for (const std::string& action : live.actions()) kinds.push_back(json::parse(action).at("action"));
    CHECK(kinds == std::vector<std::string>{"procedure", "step", "statement", "entered", "poll", "answer"});
}

TEST_CASE("what the live recording does not have is said so") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    for (const auto& [target, body] : std::vector<std::pair<std::string, std::string>>{
             {"/api/live/procedure", R"({"vehicle":"godwit","procedure":"bench","do":"begin","by":"KL"})"},
             {"/api/live/procedure", R"({"vehicle":"sanderling","procedure":"tea","do":"begin","by":"KL"})"},
             {"/api/live/statement", R"({"vehicle":"sanderling","check":"level","holds":true,"by":"KL"})"},
             {"/api/live/poll", R"({"position":"tea","do":"ask"})"},
             {"/api/live/answer", R"({"position":"tea","go":true,"by":"KL"})"},
             {"/api/live/position", R"({"position":"tea"})"}}) {
        INFO(body);
        CHECK(live.post(target, body, cookie).status == 404);
    }
    CHECK(live.actions().empty());
}

TEST_CASE("what would do nothing is refused with what is under way and what to do") {
    const LiveServer live;
    const Fields cookie = live.operator_cookie();
    const auto post = [&](const std::string& what, json more) {
        if (what != "countdown") {
            more["vehicle"] = "sanderling";
            more["by"] = "KL";
        }
        return live.post("/api/live/" + what, more.dump(), cookie);
    };
    const auto refused = [&](const std::string& what, const json& more, const std::string& words) {
        const HttpReply reply = post(what, more);
        INFO(what << " " << more << ": " << reply.body);
        CHECK(reply.status == 409);
        CHECK(reply.json().value("error", "").find(words) != std::string::npos);
    };
    const json begin{{"procedure", "bench"}, {"do", "begin"}}, end{{"procedure", "bench"}, {"do", "end"}};
    const auto deed = [](const char* step, const char* what) {
        return json{{"step", step}, {"do", what}, {"note", "-"}};
    };
    const json clear{{"check", "clear"}, {"holds", true}};
    const auto said = [&](EventId id, const std::string& step = "") {
        Batch batch;
        EventValues values{{"procedure", std::string("bench")}};
        if (!step.empty()) values.push_back({"step", step});
        batch.events.push_back(
            make_event({.id = id, .t_ns = kTapeStartNs, .values = std::move(values)}, kTapeStartNs, {0, "sanderling"}));
        live.publish(std::move(batch));
    };
    refused("step", deed("power", "done"), "begin one first");
    refused("procedure", end, "'Bench check' is not under way");
    refused("statement", clear, "'Bench clear' belongs to 'Bench check', which is not under way; begin that first");
    refused("countdown", {{"step", "resume"}}, "no countdown to resume");
    refused("countdown", {{"step", "hold"}}, "no countdown to hold");
    refused("countdown", {{"step", "off"}}, "no countdown to remove");
    CHECK(live.actions().empty());

    CHECK(post("procedure", begin).status == 200); // and what follows needs not wait for the event
    refused("procedure", begin, "end it first");
    refused("step", deed("look", "done"), "under way is 'Switch on'");
    refused("step", deed("power", "repeat"), "nothing to repeat");
    CHECK(post("step", deed("tea", "done")).status == 404);
    CHECK(post("statement", clear).status == 200);
    CHECK(post("step", deed("power", "done")).status == 200);
    refused("step", deed("power", "done"), "done already");
    said(EventId::procedure_begun);
    said(EventId::step_done, "power");
    refused("step", deed("power", "done"), "under way is 'Look'");
    CHECK(post("step", deed("look", "done")).status == 200);
    refused("statement", clear, "repeat that step");
    refused("step", deed("look", "done"), "every step");
    said(EventId::step_done, "look");
    said(EventId::procedure_ended);
    refused("step", deed("power", "done"), "begin one first");
    CHECK(post("procedure", begin).status == 200);
    CHECK(post("procedure", end).status == 200);
    refused("step", deed("power", "done"), "begin one first");

    CHECK(post("countdown", {{"step", "run"}, {"left_s", 600}}).status == 200);
    refused("countdown", {{"step", "resume"}}, "runs already");
    CHECK(post("countdown", {{"step", "hold"}}).status == 200);
    refused("countdown", {{"step", "hold"}}, "held already");
    CHECK(post("countdown", {{"step", "hold"}, {"reason", "wind"}}).status == 200); // and now why
    refused("countdown", {{"step", "hold"}, {"reason", ""}}, "held already");
    CHECK(post("countdown", {{"step", "resume"}}).status == 200);
    CHECK(post("countdown", {{"step", "off"}}).status == 200);
    refused("countdown", {{"step", "off"}}, "no countdown to remove");
    CHECK(live.actions().size() == 11);
}

TEST_CASE("a position's device answers for its position and does nothing else") {
    const LiveServer live;
    const HttpReply granted = trade(live, given_key(live, "weather"), "weather");
    REQUIRE(granted.status == 200);
    const Fields device = cookie_of(granted);
    const json session = json::parse(live.get("/api/session", device).body);
    CHECK(session.at("role") == "viewer");
    CHECK(session.at("position") == "weather");
    CHECK_FALSE(json::parse(live.get("/api/session").body).contains("position"));

    CHECK(
        live.post("/api/live/answer", R"({"position":"weather","go":false,"by":"KL","note":"rain"})", device).status ==
        200);
    CHECK(live.post("/api/live/answer", R"({"position":"range","go":true,"by":"KL"})", device).status == 403);
    for (const auto& [target, body] : kRequests) {
        if (target == "/api/live/answer") continue;
        INFO(target);
        CHECK(live.post(target, body, device).status == 403);
    }
    for (const char* target : {"/api/live/marker", "/api/live/note", "/api/live/recording", "/api/live/countdown"}) {
        INFO(target);
        CHECK(live.post(target, R"({"text":"x"})", device).status == 403);
    }
    CHECK(live.actions().size() == 1);
}

TEST_CASE("a position's link is good once, for its own position, and wrong keys are few") {
    const LiveServer live;
    const std::string key = given_key(live, "weather");
    CHECK(trade(live, key, "range").status == 403);
    CHECK(trade(live, "0123456789abcdef0123456789abcdef", "weather").status == 403); // the operator's own
    const HttpReply granted = trade(live, key, "weather");
    CHECK(granted.status == 200);
    CHECK(trade(live, key, "weather").status == 403);                     // somebody else with the link
    CHECK(trade(live, key, "weather", cookie_of(granted)).status == 200); // the same page, loaded again
    for (int k = 0; k < 2; ++k) CHECK(trade(live, "wrong", "weather").status == 403);
    CHECK(trade(live, "wrong", "weather").status == 429);
    CHECK(trade(live, given_key(live, "weather"), "weather").status == 200); // the right one is always taken
}

TEST_CASE("a position logs out, and the operator can forget its devices and links") {
    const LiveServer live;
    const Fields first = cookie_of(trade(live, given_key(live, "weather"), "weather"));
    const HttpReply gone = http_request(live.port(), "DELETE", "/api/session", first);
    CHECK(gone.status == 200);
    CHECK_FALSE(json::parse(live.get("/api/session", first).body).contains("position"));

    const Fields second = cookie_of(trade(live, given_key(live, "weather"), "weather"));
    const std::string unused = given_key(live, "weather");
    CHECK(live.post("/api/live/position", R"({"position":"weather","do":"forget"})", live.operator_cookie()).status ==
          200);
    CHECK_FALSE(json::parse(live.get("/api/session", second).body).contains("position"));
    CHECK(trade(live, unused, "weather").status == 403);
    CHECK(live.post("/api/live/answer", R"({"position":"weather","go":true,"by":"KL"})", second).status == 403);
}

TEST_CASE("an operator hands over by a link, and is a viewer once it was taken") {
    const LiveServer live;
    CHECK(live.post("/api/session/hand_over", "{}").status == 403);
    CHECK(live.get("/api/session/hand_over").status == 405);
    const Fields giver = live.operator_cookie();
    const HttpReply given = live.post("/api/session/hand_over", "{}", giver);
    REQUIRE(given.status == 200);
    const std::string link = given.json().at("link");
    const std::string before = "/#/crew?key=";
    REQUIRE(link.find(before) != std::string::npos);
    CHECK(given.json().at("svg").get<std::string>().starts_with("<svg"));
    const json key{{"key", link.substr(link.find(before) + before.size())}};

    CHECK(live.get("/api/session", giver).json().at("role") == "operator");
    const HttpReply taken = live.post("/api/session", key.dump());
    REQUIRE(taken.status == 200);
    CHECK(live.get("/api/session", cookie_of(taken)).json().at("role") == "operator");
    CHECK(live.get("/api/session", giver).json().at("role") == "viewer");
    const HttpReply again = live.post("/api/session", key.dump());
    CHECK(again.status == 403);
    CHECK(again.json().at("error").get<std::string>().find("link") != std::string::npos);
}

TEST_CASE("who becomes operator, hands over and leaves is recorded, and nothing of viewers") {
    const LiveServer live;
    const auto log_out = [&](const Fields& cookie) {
        CHECK(http_request(live.port(), "DELETE", "/api/session", cookie).status == 200);
    };
    CHECK(live.post("/api/session", R"({"key":"wrong"})").status == 403);
    log_out({});
    CHECK(live.operator_changes().empty());
    const Fields first = live.operator_cookie(), second = live.operator_cookie();
    const std::string link = live.post("/api/session/hand_over", "{}", first).json().at("link");
    const json key{{"key", link.substr(link.find("key=") + 4)}};
    const Fields third = cookie_of(live.post("/api/session", key.dump()));
    log_out(first);
    log_out(second);
    log_out(third);
    using enum OperatorStep;
    CHECK(live.operator_changes() ==
          std::vector<OperatorChange>{{unlocked, 1}, {unlocked, 2}, {handed_over, 2}, {left, 1}, {left, 0}});
}
