/// Bodies of requests about procedures, checks and the poll.
#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "server/serve/parse/desk_request.hpp"
#include "server/serve/parse/operator_request.hpp"

using namespace turnstone;

TEST_CASE("requests about procedures and the poll are read as they stand") {
    CHECK(*parse_procedure_request(R"({"vehicle":"a","procedure":"b-c","do":"begin","by":"KL"})") ==
          ProcedureCommand{"a", "b-c", ProcedureStep::begin, "KL"});
    CHECK(*parse_step_request(R"({"vehicle":"a","step":"look","do":"waive","by":"KL","note":"no charge"})") ==
          StepCommand{"a", "look", StepDeed::waive, "KL", "no charge"});
    CHECK(*parse_statement_request(R"({"vehicle":"a","check":"clear","holds":false,"by":"KL"})") ==
          CheckStatement{"a", "clear", false, "KL"});
    CHECK(*parse_entered_request(R"({"vehicle":null,"name":"wind_gust_mps","value":9.4,"by":"KL"})") ==
          Entered{"", "wind_gust_mps", 9.4, "KL"});
    CHECK(*parse_poll_request(R"({"position":"weather","do":"ask"})") == PollQuestion{"weather"});
    CHECK(*parse_answer_request(R"({"position":"weather","go":true,"by":"KL","note":""})") ==
          PollAnswer{"weather", true, "KL"});
    CHECK(parse_position_request(R"({"position":"weather"})")->deed == PositionDeed::give);
    CHECK(parse_position_request(R"({"position":"weather","do":"forget"})")->deed == PositionDeed::forget);
    CHECK(parse_key_request(R"({"key":"k","position":"weather"})")->position == "weather");
}

TEST_CASE("requests about procedures and the poll that say too little, too much or something else are refused") {
    struct Case {
        bool (*refused)(const std::string& body);
        std::vector<const char*> bodies;
    };
    const std::vector<Case> cases{
        {[](const std::string& body) { return !parse_procedure_request(body); },
         {"", "[]", "{}", R"({"vehicle":"a","procedure":"b","do":"begin"})",
          R"({"vehicle":"a","procedure":"b","do":"dance","by":"KL"})",
          R"({"vehicle":"a","procedure":"b","do":"begin","by":"  "})",
          R"({"vehicle":"a","procedure":"b","do":"begin","by":"KL","fire":true})"}},
        {[](const std::string& body) { return !parse_step_request(body); },
         {R"({"vehicle":"a","step":"s","do":"waive","by":"KL"})",
          R"({"vehicle":"a","step":"s","do":"waive","by":"KL","note":""})",
          R"({"vehicle":"a","step":"s","do":"done","by":"KL","note":5})"}},
        {[](const std::string& body) { return !parse_statement_request(body); },
         {R"({"vehicle":"a","check":"c","holds":1,"by":"KL"})", R"({"vehicle":"a","check":"c","by":"KL"})"}},
        {[](const std::string& body) { return !parse_entered_request(body); },
         {R"({"name":"w","value":"9","by":"KL"})", R"({"name":"w","value":1e300,"by":"KL"})",
          R"({"value":9,"by":"KL"})", R"({"vehicle":5,"name":"w","value":9,"by":"KL"})"}},
        {[](const std::string& body) { return !parse_poll_request(body); },
         {R"({"position":"w"})", R"({"position":"w","do":"fire"})", R"({"do":"ask"})"}},
        {[](const std::string& body) { return !parse_answer_request(body); },
         {R"({"position":"w","go":"yes","by":"KL"})", R"({"position":"w","go":true})"}},
        {[](const std::string& body) { return !parse_position_request(body); },
         {R"({"do":"give"})", R"({"position":"w","do":"lend"})"}},
    };
    for (const Case& each : cases)
        for (const char* body : each.bodies) {
            INFO(body);
            CHECK(each.refused(body));
        }
}
