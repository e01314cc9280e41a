/// One leads, the others see where.
#include <catch2/catch.hpp>

#include <chrono>
#include <memory>
#include <string>

#include <nlohmann/json.hpp>

#include "tests/serve/fixture.hpp"

using nlohmann::json;
using namespace std::chrono_literals;

namespace {

constexpr auto kNothingComes = 300ms;

std::string lead_text(double t_s, bool playing = false) {
    return json{{"type", "lead"}, {"t_s", t_s}, {"playing", playing}, {"rate", 2}, {"by", "KL"}}.dump();
}

} // namespace

TEST_CASE("followers are sent where the operator is, until they let go, and when the lead ends") {
    const LiveServer live;
    const std::string recording = record_flight(live.folder.path());
    StreamClient leader(live.port(), live.operator_cookie()), follower(live.port()), other(live.port());
    for (StreamClient* client : {&leader, &follower, &other}) REQUIRE(client->next_of("hello"));
    leader.send(json{{"type", "open"}, {"recording", recording}}.dump());
    REQUIRE(leader.next_of("replay"));

    leader.send(lead_text(4.5, true));
    const json led = follower.next_of("led")->json();
    CHECK(
        led ==
        json{{"type", "led"}, {"recording", recording}, {"t_s", 4.5}, {"playing", true}, {"rate", 2.0}, {"by", "KL"}});
    CHECK(other.next_of("led")->json() == led);
    CHECK_FALSE(leader.next_of("led", kNothingComes));

    other.send(R"({"type":"follow","follow":false})");
    other.send(R"({"type":"time","request":1})"); // once it is answered, the one before has been heard
    REQUIRE(other.next_of("time"));
    leader.send(lead_text(6));
    CHECK(follower.next_of("led")->json().at("t_s") == 6.0);
    CHECK_FALSE(other.next_of("led", kNothingComes));
    other.send(R"({"type":"follow","follow":true})");
    CHECK(other.next_of("led")->json().at("t_s") == 6.0);

    StreamClient late(live.port());
    CHECK(late.next_of("led")->json().at("t_s") == 6.0);

    leader.send(R"({"type":"lead","end":true})");
    for (StreamClient* client : {&follower, &other, &late}) CHECK(client->next_of("led")->json().at("recording") == "");
}

TEST_CASE("the lead ends with the leader's connection, and goes over to who leads last") {
    const LiveServer live;
    auto first = std::make_unique<StreamClient>(live.port(), live.operator_cookie());
    auto second = std::make_unique<StreamClient>(live.port(), live.operator_cookie());
    StreamClient follower(live.port());
    for (StreamClient* client : {first.get(), second.get(), &follower}) REQUIRE(client->next_of("hello"));
    first->send(lead_text(1)); // of the live tape
    CHECK(follower.next_of("led")->json().at("recording") == kTapeId);
    second->send(lead_text(2));
    CHECK(first->next_of("led")->json().at("t_s") == 2.0);
    CHECK(follower.next_of("led")->json().at("t_s") == 2.0);
    first->send(R"({"type":"lead","end":true})"); // not theirs any more
    second->send(lead_text(3));
    CHECK(follower.next_of("led")->json().at("t_s") == 3.0);
    first.reset();
    second->send(lead_text(4));
    CHECK(follower.next_of("led")->json().at("t_s") == 4.0);
    second.reset();
    CHECK(follower.next_of("led")->json().at("recording") == "");
}

TEST_CASE("only an operator leads") {
    const LiveServer live;
    StreamClient viewer(live.port());
    REQUIRE(viewer.next_of("hello"));
    viewer.send(R"({"type":"lead","t_s":1,"playing":false,"rate":1,"request":7})");
    const json refused = viewer.next_of("error")->json();
    CHECK(refused.at("request") == 7);
    CHECK(refused.at("message").get<std::string>().find("only the operator leads") != std::string::npos);
}

TEST_CASE("a key given later counts at once on connections of the same browser, and so does a log-out") {
    const LiveServer live;
    const std::string name = "turnstone_" + std::to_string(live.port()) + "_browser=";
    const Fields browser{{"Cookie", name + std::string(32, 'a')}}, elsewhere{{"Cookie", name + std::string(32, 'b')}};
    StreamClient page(live.port(), browser), other_tab(live.port(), browser), follower(live.port(), elsewhere);
    for (StreamClient* client : {&page, &other_tab, &follower})
        CHECK(client->next_of("hello")->json().at("role") == "viewer");

    const HttpReply unlocked = live.post("/api/session", json{{"key", kOperatorKey}}.dump(), browser);
    REQUIRE(unlocked.status == 200);
    for (StreamClient* client : {&page, &other_tab}) CHECK(client->next_of("session")->json().at("role") == "operator");
    page.send(lead_text(4.5));
    CHECK(follower.next_of("led")->json().at("t_s") == 4.5);
    CHECK_FALSE(follower.next_of("session", kNothingComes));
    follower.send(lead_text(5));
    CHECK(follower.next_of("error"));

    const std::string cookie = unlocked.field("Set-Cookie");
    REQUIRE(
        http_request(live.port(), "DELETE", "/api/session", {{"Cookie", cookie.substr(0, cookie.find(';'))}}).status ==
        200);
    for (StreamClient* client : {&page, &other_tab}) CHECK(client->next_of("session")->json().at("role") == "viewer");
    CHECK(follower.next_of("led")->json().at("recording") == ""); // nobody leads any more
    page.send(lead_text(6));
    CHECK(page.next_of("error"));
}

TEST_CASE("a browser without a name is given one by the handshake of its first connection") {
    const LiveServer live;
    const std::string host = "Host: 127.0.0.1:" + std::to_string(live.port());
    const auto handshake = [&](const std::string& more) {
        const RawClient client(live.port());
        return client.read_after("GET /api/stream HTTP/1.1\r\n" + host +
                                     "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                                     "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n" +
                                     more + "\r\n",
                                 400);
    };
    const std::string cookie = "turnstone_" + std::to_string(live.port()) + "_browser=";
    CHECK(handshake("").find("Set-Cookie: " + cookie) != std::string::npos);
    CHECK(handshake("Cookie: " + cookie + std::string(32, 'a') + "\r\n").find("Set-Cookie") == std::string::npos);
}

TEST_CASE("a leader who moves fast is followed to where they stop, and not every step is told") {
    const LiveServer live;
    StreamClient leader(live.port(), live.operator_cookie()), follower(live.port());
    for (StreamClient* client : {&leader, &follower}) REQUIRE(client->next_of("hello"));
    constexpr int kSteps = 30;
    for (int i = 1; i <= kSteps; ++i) leader.send(lead_text(i));
    int told = 0;
    while (follower.next_of("led")->json().at("t_s") != static_cast<double>(kSteps)) ++told;
    CHECK(told < kSteps - 1);
}
