// Requests for a comparison: what is understood, and what is said of the rest.
#include <catch2/catch.hpp>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/request.hpp"
#include "server/debrief/flight_request.hpp"

using namespace turnstone::debrief;
using Catch::Contains;
using nlohmann::json;

TEST_CASE("a comparison names its flights and where they are aligned") {
    const auto request =
        parse_compare_request(json::parse(R"({"flights":["a~v~1","b~v~2"],"align":"apogee","prediction":false})"));
    REQUIRE(request);
    CHECK(request->flights == std::vector<std::string>{"a~v~1", "b~v~2"});
    CHECK(request->align == Alignment::apogee);
    CHECK(!request->prediction);
    const auto least = parse_compare_request(json::parse(R"({"flights":["a~v~1"]})"));
    REQUIRE(least);
    CHECK(least->align == Alignment::liftoff);
    CHECK(least->prediction);
}

TEST_CASE("what is wrong with a request is said with its pointer") {
    struct Wrong {
        const char* text;
        const char* pointer;
    };
    for (const Wrong& one :
         {Wrong{R"([])", "compare"}, Wrong{R"({"flights":[]})", "/flights"},
          Wrong{R"({"flights":["a",7]})", "/flights/1"}, Wrong{R"({"flights":["a"],"align":"rest"})", "/align"},
          Wrong{R"({"flights":["a"],"prediction":1})", "/prediction"},
          Wrong{R"({"flights":["a"],"much":1})", "/much"}}) {
        INFO(one.text);
        const auto request = parse_compare_request(json::parse(one.text));
        REQUIRE(!request);
        CHECK_THAT(request.error().message, Contains(one.pointer));
    }
    json many{{"flights", json::array()}};
    for (std::size_t i = 0; i <= kComparedMax; ++i) many["flights"].push_back("a");
    CHECK(!parse_compare_request(many));
}

TEST_CASE("a job on one flight names it") {
    const auto request = parse_flight_request(json::parse(R"({"flight":"a~v~1"})"), "smooth");
    REQUIRE(request);
    CHECK(*request == "a~v~1");
    for (const char* text : {R"({})", R"({"flight":1})", R"({"flight":"a","b":1})", R"("a")"}) {
        INFO(text);
        CHECK(!parse_flight_request(json::parse(text), "smooth"));
    }
}
