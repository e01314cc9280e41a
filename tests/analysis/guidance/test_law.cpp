// Laws as people write them, and every mistake with its place.
#include <catch2/catch.hpp>

#include <algorithm>
#include <string>

#include <nlohmann/json.hpp>

#include "server/analysis/guidance/law.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

const char* const kDamper = R"({"name": "roll damper", "form": "pid", "state": "roll_radps",
    "gains": {"kp": 0.05, "ki": 0.1}, "limit_rad": 0.14, "rate_limit_radps": 6, "delay_s": 0.01, "least_q_pa": 800,
    "schedule": [{"q_pa": 2000, "factor": 3}, {"q_pa": 12000, "factor": 1}]})";

} // namespace

TEST_CASE("a law is read with its defaults, and its gains follow dynamic pressure") {
    std::vector<Problem> problems;
    const Law law = read_law(nlohmann::json::parse(kDamper), "law", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    CHECK(law.axis() == 0);
    CHECK(!law.of_angle());
    CHECK(law.kd == 0);
    CHECK(law.period_s == 0.01);
    CHECK(law.factor_at(0) == 3);
    CHECK(law.factor_at(7000) == Approx(2));
    CHECK(law.factor_at(1e6) == 1);
    const Law plain = read_law(nlohmann::json::parse(R"({"form": "state_feedback", "state": "yaw_rad",
        "gains": {"angle": 0.3, "rate": 0.1}, "limit_rad": 0.1})"),
                               "law", problems);
    CHECK(problems.empty());
    CHECK(plain.axis() == 2);
    CHECK(plain.factor_at(9000) == 1);
}

TEST_CASE("a law's mistakes are told with their pointers") {
    struct Wrong {
        const char* pointer;
        const char* with; ///< merged into the damper
    };
    const Wrong wrong[] = {
        {"/form", R"({"form": "lead"})"},
        {"/state", R"({"state": "roll"})"},
        {"/state", R"({"form": "state_feedback", "gains": {"kp": null, "ki": null, "angle": 1, "rate": 1}})"},
        {"/gains/kp", R"({"gains": {"kp": null}})"},
        {"/gains/kq", R"({"gains": {"kq": 1}})"},
        {"/limit_rad", R"({"limit_rad": 0})"},
        {"/limit_rad", R"({"limit_rad": null})"},
        {"/rate_limit_radps", R"({"rate_limit_radps": -1})"},
        {"/delay_s", R"({"delay_s": 2})"},
        {"/period_s", R"({"period_s": 0})"},
        {"/schedule/1/q_pa", R"({"schedule": [{"q_pa": 5, "factor": 1}, {"q_pa": 5, "factor": 1}]})"},
        {"/schedule/0/factor", R"({"schedule": [{"q_pa": 5}]})"},
        {"/speed", R"({"speed": 1})"}};
    for (const Wrong& one : wrong) {
        INFO(one.with);
        nlohmann::json json = nlohmann::json::parse(kDamper);
        json.merge_patch(nlohmann::json::parse(one.with));
        std::vector<Problem> problems;
        (void)read_law(json, "law", problems);
        REQUIRE(!problems.empty());
        CHECK(std::ranges::any_of(problems, [&](const Problem& problem) { return problem.pointer == one.pointer; }));
    }
}

TEST_CASE("the schema of laws names what the reader takes") {
    const auto schema = nlohmann::json::parse(test::read_file(test::source_path("protocol/schema/law.schema.json")));
    const nlohmann::json& properties = schema.at("properties");
    const auto damper = nlohmann::json::parse(kDamper);
    for (const auto& [name, about] : damper.items()) {
        INFO(name);
        CHECK(properties.contains(name));
    }
    CHECK(properties.at("form").at("enum") == kWords<LawForm>);
    CHECK(properties.at("state").at("enum") == kWords<LawState>);
    CHECK(properties.at("schedule").at("maxItems") == kSchedulePointsMax);
    CHECK(properties.at("limit_rad").at("maximum") == 1.6);
}
