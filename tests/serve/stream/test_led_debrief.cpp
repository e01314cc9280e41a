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
