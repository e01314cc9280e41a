// Pointers as RFC 6901 spells them; JSON grammar of RFC 8259.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

using namespace turnstone;

namespace {

struct Case {
    const char* what;
    const char* json;
    std::vector<std::string> pointers; ///< of the mistakes, in order
    const char* wrong;                 ///< part of the first mistake's text
};

/// A reader with one member of each sort.
void read_sample(const nlohmann::json& json, std::vector<Problem>& problems) {
    JsonReader in(json, "sample.json", problems);
    in.ignore("$schema");
    in.text("name");
    in.number("mass_kg", 0.1, 10.0);
    in.integer_or("count", 1, 5, 1);
    in.boolean_or("on", false);
    in.choice_or("kind", {"near", "far"}, 0);
    if (auto inner = in.object_if("inner")) {
        inner->number("a/b", 0, 1);
        inner->number_or("c~d", 0, 1, 0.5);
        inner->finish();
    }
    for (JsonReader& row : in.array_if("rows", 3)) row.as_row(2);
    in.finish();
}

std::vector<Problem> problems_of(const char* text) {
    std::vector<Problem> problems;
    if (const auto json = parse_json_text(text, "sample.json", problems)) read_sample(*json, problems);
    return problems;
}

} // namespace

TEST_CASE("Every mistake is reported at its own pointer") {
    const Case cases[] = {
        {"all good", R"({"name":"x","mass_kg":1,"count":2.0,"inner":{"a/b":0}})", {}, ""},
        {"missing member", R"({"name":"x"})", {"/mass_kg"}, "is missing"},
        {"two missing members", R"({})", {"/name", "/mass_kg"}, "is missing"},
        {"empty text", R"({"name":"","mass_kg":1})", {"/name"}, "is the text \"\""},
        {"text for a number", R"({"name":"x","mass_kg":"1"})", {"/mass_kg"}, "is the text \"1\""},
        {"below the range", R"({"name":"x","mass_kg":0.01})", {"/mass_kg"}, "is 0.01"},
        {"above the range", R"({"name":"x","mass_kg":11})", {"/mass_kg"}, "is 11"},
        {"null", R"({"name":"x","mass_kg":null})", {"/mass_kg"}, "is null"},
        {"fraction for a whole number", R"({"name":"x","mass_kg":1,"count":1.5})", {"/count"}, "is 1.5"},
        {"whole number beyond 64 bits", R"({"name":"x","mass_kg":1,"count":18446744073709551615})", {"/count"}, "is 1"},
        {"number for a truth value", R"({"name":"x","mass_kg":1,"on":1})", {"/on"}, "is 1"},
        {"no such choice", R"({"name":"x","mass_kg":1,"kind":"Near"})", {"/kind"}, "is the text \"Near\""},
        {"array for an object", R"({"name":"x","mass_kg":1,"inner":[]})", {"/inner"}, "is an array"},
        {"slash in a name", R"({"name":"x","mass_kg":1,"inner":{"a/b":2}})", {"/inner/a~1b"}, "is 2"},
        {"tilde in a name", R"({"name":"x","mass_kg":1,"inner":{"a/b":0,"c~d":2}})", {"/inner/c~0d"}, "is 2"},
        {"unknown member", R"({"name":"x","mass_kg":1,"nane":1})", {"/nane"}, "unknown"},
        {"unknown inner member", R"({"name":"x","mass_kg":1,"inner":{"a/b":0,"e":1}})", {"/inner/e"}, "unknown"},
        {"row of wrong length", R"({"name":"x","mass_kg":1,"rows":[[1,2],[1]]})", {"/rows/1"}, "has 1 elements"},
        {"row with text", R"({"name":"x","mass_kg":1,"rows":[[1,"2"]]})", {"/rows/0/1"}, "is the text"},
        {"row that is not a row", R"({"name":"x","mass_kg":1,"rows":[3]})", {"/rows/0"}, "is 3"},
        {"too many rows", R"({"name":"x","mass_kg":1,"rows":[[1,2],[1,2],[1,2],[1,2]]})", {"/rows"}, "has 4 elements"},
        {"several at once", R"({"name":3,"mass_kg":[],"kind":0,"z":0})", {"/name", "/mass_kg", "/kind", "/z"}, "is 3"},
        {"document of another type, once", R"([1])", {""}, "is an array"},
        {"name twice", R"({"name":"x","mass_kg":1,"mass_kg":2})", {"/mass_kg"}, "appears twice"},
        {"name twice below",
         R"({"name":"x","mass_kg":1,"rows":[[0,0],{"k":{"a/":1,"a/":1}}]})",
         {"/rows/1/k/a~1"},
         "appears twice"},
        {"name twice after closed values", R"({"a":{"b":[1,[2]]},"c":[{},{}],"c":0})", {"/c"}, "appears twice"},
        {"cut off", R"({"name":"x")", {""}, "line 1, column 12"},
        {"line and column", "{\n  \"name\": x\n}", {""}, "line 2, column 11"},
        {"empty", "", {""}, "is not JSON"},
        {"comment where none is allowed", "{} // note", {""}, "is not JSON"},
        {"not a number", R"({"name":"x","mass_kg":NaN})", {""}, "is not JSON"},
        {"number beyond IEEE 754", R"({"name":"x","mass_kg":1e999})", {""}, "too large"},
        {"broken UTF-8", "{\"name\":\"\xff\"}", {""}, "is not JSON"},
    };
    std::size_t count = 0;
    for (const Case& one : cases) {
        INFO(one.what);
        const std::vector<Problem> problems = problems_of(one.json);
        INFO(to_string(problems));
        std::vector<std::string> pointers;
        for (const Problem& problem : problems) {
            pointers.push_back(problem.pointer);
            CHECK_FALSE(problem.right.empty());
            CHECK(problem.file == "sample.json");
        }
        CHECK(pointers == one.pointers);
        if (!problems.empty()) {
            CHECK_THAT(problems.front().wrong, Catch::Contains(one.wrong));
            CHECK(to_string(problems.front()).find('\n') == std::string::npos);
        }
        ++count;
    }
    CHECK(count == std::size(cases));
}

TEST_CASE("A value nested without end is refused, not followed") {
    std::vector<Problem> problems;
    CHECK_FALSE(parse_json_text(std::string(1'000'000, '['), "deep.json", problems));
    REQUIRE(problems.size() == 1);
    CHECK_THAT(problems.front().wrong, Catch::Contains("nested more deeply than 64"));
}

TEST_CASE("Comments are taken where they are allowed") {
    std::vector<Problem> problems;
    const auto json = parse_json_text("{ // why\n \"a\": /* so */ 1 }", "c.json", problems, JsonComments::allowed);
    REQUIRE(json);
    CHECK((*json)["a"] == 1);
}

TEST_CASE("A file that cannot be read says why") {
    std::vector<Problem> problems;
    CHECK_FALSE(parse_json_file("/nonexistent/site.json", problems));
    CHECK_FALSE(parse_json_file("/", problems));
    REQUIRE(problems.size() == 2);
    CHECK_THAT(problems[0].wrong, Catch::Contains("does not exist"));
    CHECK_THAT(problems[1].wrong, Catch::Contains("is a directory"));
}
