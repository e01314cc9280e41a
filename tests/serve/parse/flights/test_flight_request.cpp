#include <catch2/catch.hpp>

#include <string>

#include "server/serve/parse/flights/flight_request.hpp"
#include "server/serve/parse/flights/job_request.hpp"

using namespace turnstone;

TEST_CASE("what is written into a flight is at least one of four, and each is bounded") {
    const auto flight = parse_flight_request(R"({"name":"Flight 7","tags":["camera","C6"]})");
    REQUIRE(flight);
    CHECK(flight->name == "Flight 7");
    CHECK(flight->tags == std::vector<std::string>{"camera", "C6"});
    CHECK_FALSE(flight->notes);
    CHECK(parse_flight_request(R"({"notes":"","configuration":"","tags":[]})"));
    const std::string many = [] {
        std::string tags;
        for (int i = 0; i < 21; ++i) tags += (i == 0 ? "\"" : ",\"") + std::to_string(i) + "\"";
        return R"({"tags":[)" + tags + "]}";
    }();
    for (const std::string& bad :
         {std::string("{}"), std::string(R"({"name":7})"), std::string(R"({"color":"red"})"),
          std::string(R"({"tags":"a"})"), std::string(R"({"tags":[1]})"), std::string(R"({"tags":[""]})"),
          R"({"tags":[")" + std::string(61, 'x') + "\"]}", R"({"name":")" + std::string(201, 'x') + "\"}", many}) {
        INFO(bad);
        const auto refused = parse_flight_request(bad);
        REQUIRE_FALSE(refused);
        CHECK_FALSE(refused.error().message.empty());
    }
}

TEST_CASE("a bookmark is new, changed, or taken back") {
    const auto fresh = parse_bookmark_request(R"({"t_s":-1.5,"text":"here"})");
    REQUIRE(fresh);
    CHECK((fresh->key.empty() && fresh->text == "here" && fresh->t_s == -1.5));
    CHECK(parse_bookmark_request(R"({"key":"marker/3","text":"there"})")->text == "there");
    CHECK_FALSE(parse_bookmark_request(R"({"key":"marker/3"})")->text);
    for (const char* bad : {"{}", R"({"t_s":1})", R"({"text":"x"})", R"({"t_s":"1","text":"x"})", R"({"key":""})",
                            R"({"key":"marker/3","t_s":1})", R"({"t_s":1e300,"text":"x"})"}) {
        INFO(bad);
        CHECK_FALSE(parse_bookmark_request(bad));
    }
    CHECK(parse_archive_request(R"({"archived":true})").value());
    for (const char* bad : {"{}", R"({"archived":1})", R"({"archived":true,"by":"x"})"})
        CHECK_FALSE(parse_archive_request(bad));
}

TEST_CASE("a job's request is its kind and an object of the rest, of bounded depth") {
    const auto job = parse_job_request(R"({"job":"shadow","law":{"schedule":[{"q_pa":1}]}})");
    REQUIRE(job);
    CHECK(job->job == "shadow");
    CHECK(job->members == nlohmann::json{{"law", {{"schedule", {{{"q_pa", 1}}}}}}});
    for (const std::string& bad : {std::string("[]"), std::string("{}"), std::string(R"({"job":7})"),
                                   R"({"job":"x","a":)" + std::string(9, '[') + std::string(9, ']') + "}"}) {
        INFO(bad);
        CHECK_FALSE(parse_job_request(bad));
    }
}
