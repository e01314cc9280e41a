// procedures/ID.json and readiness.json as people write them: every mistake with its pointer, and what the limits say.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "server/pipeline/checklist/check_tables.hpp"
#include "server/pipeline/checklist/mistakes.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

json good_procedure() {
    return json::parse(R"({"title": "Test", "checks": [
        {"id": "battery", "title": "Battery", "value": {"table": "health", "column": "battery_voltage"}, "least": 7.6},
        {"id": "clear", "title": "Clear", "statement": true}],
      "steps": [{"id": "look", "kind": "check", "title": "Look", "checks": ["battery", "clear"]}]})");
}

std::string procedure_mistakes(const json& procedure) {
    std::vector<Problem> problems;
    (void)read_procedure(procedure, "test", "test.json", problems);
    return to_string(problems);
}

VehicleSetup demo_vehicle(std::vector<FolderFile> files) {
    std::vector<Problem> problems;
    auto vehicle = read_vehicle_texts(test::read_file(test::demo_path("sanderling") / "dictionary.json"),
                                      test::read_file(test::demo_path("sanderling") / "vehicle.json"), "sanderling",
                                      problems, std::move(files));
    INFO(to_string(problems));
    REQUIRE(vehicle);
    return *std::move(vehicle);
}

/// Of a check in a procedure of the demo's vehicle: what is wrong beside its tables.
std::string binding_mistakes(const json& check) {
    json procedure = good_procedure();
    procedure["checks"][0] = check;
    procedure["checks"][0]["id"] = "battery";
    procedure["checks"][0]["title"] = "It";
    PipelineSetup setup;
    setup.vehicles.push_back(demo_vehicle({{"procedures/test.json", procedure.dump()}}));
    setup.links.push_back({"radio", "", 0});
    std::vector<Problem> problems;
    find_checklist_mistakes(setup, Pipeline(setup, 0).schema(), 0, "folder", problems);
    return to_string(problems);
}

} // namespace

TEST_CASE("a procedure without mistakes is read as it stands") {
    std::vector<Problem> problems;
    const Procedure procedure = read_procedure(good_procedure(), "test", "test.json", problems);
    CHECK(to_string(problems) == "");
    CHECK(procedure.id == "test");
    CHECK(procedure.checks.at(0).value.columns == std::vector<std::string>{"battery_voltage"});
    CHECK(procedure.checks.at(0).severity == Severity::must);
    CHECK(procedure.steps.at(0).kind == StepKind::check);
    CHECK(procedure.steps.at(0).checks == std::vector<std::size_t>{0, 1});
}

TEST_CASE("each mistake in a procedure is reported where it stands") {
    struct Case {
        const char* patch; ///< RFC 7386
        const char* reported;
    };
    const std::vector<Case> cases{
        {R"({"title": null})", "/title"},
        {R"({"extra": 1})", "/extra: is an unknown member"},
        {R"({"steps": []})", "/steps"},
        {R"({"steps": [{"id": "a", "kind": "dance", "title": "A", "checks": ["battery", "clear"]}]})", "/steps/0/kind"},
        {R"({"steps": [{"id": "a", "kind": "check", "title": "A", "checks": ["battery", "clear", "none"]}]})",
         "/steps/0/checks/2: names the check \"none\""},
        {R"({"steps": [{"id": "a", "kind": "check", "title": "A", "checks": ["battery"]}]})",
         "/checks/1: is of no step"},
        {R"({"steps": [{"id": "a", "kind": "check", "title": "A", "checks": ["battery", "clear"]},
                       {"id": "b", "kind": "hold", "title": "B", "checks": ["clear"]}]})",
         "/steps/1/checks/0: \"clear\" is also of step \"a\""},
        {R"({"steps": [{"id": "a", "kind": "check", "title": "A", "checks": ["battery", "clear"]}, {"id": "a", "kind": "instruct", "title": "B"}]})",
         "/steps/1/id: \"a\" appears twice"},
        {R"({"steps": [{"id": "a", "kind": "check", "title": "A", "checks": ["battery", "clear"]}, {"id": "b", "kind": "wait_for", "title": "B"}]})",
         "/steps/1: has no checks"},
        {R"({"steps": [{"id": "a", "kind": "instruct", "title": "A", "checks": ["battery", "clear"]}]})",
         "/steps/0/checks"},
    };
    for (const Case& each : cases) {
        INFO(each.patch);
        json procedure = good_procedure();
        procedure.merge_patch(json::parse(each.patch));
        CHECK_THAT(procedure_mistakes(procedure), Catch::Contains(each.reported));
    }
}

TEST_CASE("each mistake in a check is reported where it stands") {
    const std::vector<std::pair<const char*, const char*>> cases{
        {R"({"id": "Battery"})", "/id: is \"Battery\""},
        {R"({"id": "clear"})", "appears twice"},
        {R"({"id": "x_margin"})", "/id: is \"x_margin\""},
        {R"({"severity": "may"})", "/severity"},
        {R"({"statement": true})", "/statement: stands beside \"value\""},
        {R"({"value": null})", "says nothing that it is about"},
        {R"({"least": null})", "has no limit"},
        {R"({"most": 7})", "/least: is 7.6, more than most, 7: the check can never hold"},
        {R"({"within": 1})", "/within: stands beside least or most"},
        {R"({"least": "7"})", "/least"},
        {R"({"value": {"column": null}})", "/value/column"},
        {R"({"value": {"columns": ["a", "b"]}})", "/value/column: stands beside \"columns\""},
        {R"({"value": {"link": "any"}})", "/value/table: stands beside \"link\""},
        {R"({"value": {"frame": "x"}})", "/value/frame: is an unknown member"},
        {R"({"measure": "median"})", "/measure"},
        {R"({"measure": "mean"})", "/over_s"},
        {R"({"measure": "peak"})", "/after"},
        {R"({"measure": "peak", "after": {"event": "bang"}})", "/after/event: is \"bang\""},
        {R"({"measure": "stuck", "from": {"reference": "gravity"}})", "/from: is not for the measure stuck"},
        {R"({"from": {"reference": "luck"}})", "/from/reference"},
        {R"({"unit": "Volts"})", "/unit: is \"Volts\""},
        {R"({"measure": "turned", "over_s": 10})", "/since"},
        {R"({"measure": "turned", "over_s": 61, "since": "clear"})", "/over_s"},
        {R"({"measure": "turned", "over_s": 10, "since": "set"})",
         "/checks/1/since: names the statement \"set\", which the file does not have"},
        {R"({"measure": "turned", "over_s": 10, "since": "battery"})",
         "/checks/1/since: names the statement \"battery\""},
        {R"({"measure": "turned", "over_s": 10, "since": "clear", "from": {"reference": "gravity"}})",
         "/from: is not for the measure turned"},
        {R"({"since": "clear"})", "/since: is an unknown member"},
        {R"({"or_entered": "Wind"})", "/or_entered"},
        {R"({"no_older_than_s": 0})", "/no_older_than_s"},
    };
    for (const auto& [patch, reported] : cases) {
        INFO(patch);
        json procedure = good_procedure();
        procedure["checks"][1]["id"] = "clear";
        std::swap(procedure["checks"][0], procedure["checks"][1]);
        procedure["checks"][1].merge_patch(json::parse(patch));
        CHECK_THAT(procedure_mistakes(procedure), Catch::Contains(reported));
    }
}

TEST_CASE("a readiness board needs names of its own for its checks and positions") {
    const auto mistakes = [](const char* text) {
        std::vector<Problem> problems;
        (void)read_readiness(json::parse(text), "readiness.json", problems);
        return to_string(problems);
    };
    CHECK(
        mistakes(
            R"({"groups": [{"title": "A", "checks": [{"id": "a", "title": "A", "statement": true}]}], "positions": [{"id": "x", "title": "X"}]})") ==
        "");
    CHECK_THAT(mistakes(R"({"groups": [{"title": "A", "checks": [{"id": "a", "title": "A", "statement": true}]},
                                       {"title": "B", "checks": [{"id": "a", "title": "B", "statement": true}]}]})"),
               Catch::Contains("/groups/1/checks/0/id: \"a\" appears twice"));
    CHECK_THAT(mistakes(R"({"groups": []})"), Catch::Contains("/groups"));
    CHECK_THAT(
        mistakes(R"({"groups": [{"title": "A", "checks": [{"id": "ready", "title": "A", "statement": true}]}]})"),
        Catch::Contains("/groups/0/checks/0/id: is \"ready\""));
    CHECK_THAT(
        mistakes(
            R"({"groups": [{"title": "A", "checks": [{"id": "a", "title": "A", "statement": true}]}], "positions": [{"id": "x y", "title": "X"}]})"),
        Catch::Contains("/positions/0/id"));
    CHECK_THAT(mistakes("[]"), Catch::Contains("is not an object"));
}

TEST_CASE("the statement that a check counts from may stand anywhere in its file") {
    std::vector<Problem> problems;
    const Readiness board = read_readiness(json::parse(R"({"groups": [{"title": "A", "checks": [
        {"id": "moved", "title": "Moved", "value": {"table": "imu", "columns": ["x", "y", "z"]}, "measure": "turned",
         "over_s": 10, "since": "set", "most": 3}]},
        {"title": "B", "checks": [{"id": "set", "title": "Rail set", "statement": true}]}]})"),
                                           "readiness.json", problems);
    CHECK(to_string(problems) == "");
    CHECK(board.groups.at(0).checks.at(0).since == "set");
    CHECK(board.groups.at(0).checks.at(0).since_title == "Rail set");
}

TEST_CASE("what a check says of tables, units and limits is held against the vehicle's own") {
    const std::vector<std::pair<const char*, const char*>> cases{
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "least": 7.6})", ""},
        {R"({"value": {"table": "helth", "column": "battery_voltage"}, "least": 7.6})",
         "/checks/0/value: has the unknown table \"helth\""},
        {R"({"value": {"table": "health", "column": "battery"}, "least": 7.6})",
         "/checks/0/value: has the unknown column \"battery\""},
        {R"({"value": {"table": "health", "column": "firmware"}, "least": 7.6})", "\"firmware\", which is a text"},
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "least": 7.6, "unit": "mV"})",
         "/checks/0/unit: is \"mV\""},
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "least": 12})",
         "/checks/0/least: is 12, which no value can reach"},
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "most": 12})", "can never fail"},
        {R"({"value": {"table": "imu.samples", "columns": ["accel_body_x", "rate_body_x"]}, "most": 5})",
         "a vector has one unit"},
        {R"({"value": {"table": "imu.samples", "column": "accel_body_x"}, "from": {"reference": "pad_pressure"}, "within": 5})",
         "/checks/0/from: is pad_pressure, in \"Pa\", value in \"m/s2\""},
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "from": {"table": "imu", "column": "imu_temperature"}, "within": 5})",
         "/checks/0/from: is in \"K\", value in \"V\""},
        {R"({"value": {"table": "imu.samples", "columns": ["accel_body_x", "accel_body_y", "accel_body_z"]}, "measure": "turned",
             "over_s": 10, "since": "clear", "most": 3, "unit": "deg"})",
         ""},
        {R"({"value": {"table": "imu.samples", "columns": ["accel_body_x", "accel_body_y", "accel_body_z"]}, "measure": "turned",
             "over_s": 10, "since": "clear", "most": 3, "or_entered": "turn_mps2"})",
         "/checks/0/or_entered: is \"turn_mps2\", which does not end as \"deg\" does"},
        {R"({"value": {"table": "imu.samples", "columns": ["accel_body_x", "accel_body_y"]}, "measure": "turned", "over_s": 10,
             "since": "clear", "most": 3})",
         "/checks/0/value: is not the three axes of an accelerometer in m/s2"},
        {R"({"value": {"table": "imu.samples", "columns": ["rate_body_x", "rate_body_y", "rate_body_z"]}, "measure": "turned",
             "over_s": 10, "since": "clear", "most": 3})",
         "/checks/0/value: is not the three axes of an accelerometer in m/s2"},
        {R"({"value": {"table": "health", "column": "battery_voltage"}, "or_entered": "battery_mps", "least": 7})",
         "/checks/0/or_entered"},
        {R"({"value": {"table": "estimate/landing", "column": "outside"}, "most": 0.05})", "rests on predictions"},
        {R"({"value": {"vehicle": "mast", "table": "wind", "column": "speed"}, "most": 8.9})",
         ""}, // of another station's
        {R"({"value": {"link": "lora", "column": "loss_10s"}, "most": 0.1})", ""},
        {R"({"gap": {"table": "nothing"}, "most": 0.1})", "/checks/0/gap: has the unknown table"},
        {R"({"says": {"table": "health", "column": "battery_voltage"}})", "which is not a text"},
        {R"({"passed": "tea", "most": 10})", "/checks/0/passed: names the procedure \"tea\""},
        {R"({"entered": "cloud_base", "least": 10})", "does not end in a unit"},
    };
    for (const auto& [check, reported] : cases) {
        INFO(check);
        const std::string mistakes = binding_mistakes(json::parse(check));
        INFO(mistakes);
        if (std::string(reported).empty())
            CHECK(mistakes.empty());
        else
            CHECK_THAT(mistakes, Catch::Contains(reported));
    }
}

TEST_CASE("a statement of the board and one of a procedure have names of their own") {
    const auto mistakes_with = [](const char* id) {
        const json board{
            {"groups", {{{"title", "All"}, {"checks", {{{"id", id}, {"title", "It"}, {"statement", true}}}}}}},
            {"positions", json::array()}};
        PipelineSetup setup;
        setup.vehicles.push_back(
            demo_vehicle({{"procedures/test.json", good_procedure().dump()}, {"readiness.json", board.dump()}}));
        setup.links.push_back({"radio", "", 0});
        std::vector<Problem> problems;
        find_checklist_mistakes(setup, Pipeline(setup, 0).schema(), 0, "folder", problems);
        return to_string(problems);
    };
    CHECK(mistakes_with("sky") == "");
    CHECK_THAT(mistakes_with("clear"),
               Catch::Contains("readiness.json: /groups/0/checks/0/id") && Catch::Contains("procedures/test.json"));
}

TEST_CASE("a limit is said as a person says it") {
    const auto required = [](const char* text, const std::string& unit, int decimals, const Enumeration& words = {}) {
        std::vector<Problem> problems;
        json check = json::parse(text);
        check["id"] = "it";
        check["title"] = "It";
        const Procedure procedure =
            read_procedure(json{{"title", "T"},
                                {"checks", json::array({check})},
                                {"steps", {{{"id", "a"}, {"kind", "check"}, {"title", "A"}, {"checks", {"it"}}}}}},
                           "t", "t.json", problems);
        INFO(to_string(problems));
        REQUIRE(problems.empty());
        return required_text(procedure.checks.front(), unit, decimals, words);
    };
    const std::string value = R"({"value": {"table": "t", "column": "c"}, )";
    CHECK(required((value + R"("most": 0.03})").c_str(), "s", 3) == "≤ 30 ms");
    CHECK(required((value + R"("most": 0.05})").c_str(), "{fraction}", 3) == "≤ 5 %");
    CHECK(required((value + R"("most": 0.001})").c_str(), "{fraction}", 3) == "≤ 0.1 %");
    CHECK(required((value + R"("most": 2})").c_str(), "s", 3) == "≤ 2 s");
    CHECK(required((value + R"("least": 3600})").c_str(), "s", 0) == "≥ 60 min");
    CHECK(required((value + R"("least": 7.25})").c_str(), "V", 1) == "≥ 7.25 V");
    CHECK(required((value + R"("least": 263.15, "most": 333.15})").c_str(), "K", 0) == "−10 °C to 60 °C");
    CHECK(required((value + R"("within": 2, "from": {"reference": "pad_temperature"}})").c_str(), "K", 0) == "± 2 K");
    CHECK(required((value + R"("within": 0.25})").c_str(), "m/s2", 2) == "± 0.25 m/s²");
    // 180 / pi degrees are a radian, by definition of the degree (SI Brochure, 9th edition, table 8).
    CHECK(required((value + R"("within": 0.05})").c_str(), "rad/s", 3) == "± 2.86 °/s");
    CHECK(required((value + R"("most": 10})").c_str(), "rad/s", 3) == "≤ 573.0 °/s");
    CHECK(required((value + R"("least": 0})").c_str(), "rad/s", 3) == "≥ 0.0 °/s");
    CHECK(required((value + R"("most": 900})").c_str(), "deg/s", 0) == "≤ 900 °/s");
    CHECK(required((value + R"("least": 200000000})").c_str(), "By", 0) == "≥ 200 MB");
    CHECK(required((value + R"("least": 1234500000})").c_str(), "By", 0) == "≥ 1.2345 GB");
    CHECK(required((value + R"("least": 812})").c_str(), "By", 0) == "≥ 812 B");
    CHECK(required((value + R"("within": 500, "from": {"reference": "pad_pressure"}})").c_str(), "Pa", 0) ==
          "± 5.00 hPa");
    CHECK(required((value + R"("least": 1, "most": 1})").c_str(), "1", 0, {{0, "open"}, {1, "good"}}) == "good");
    // Words have no order for a reader: no "≥ yes".
    const Enumeration answers{{0, "no"}, {1, "yes"}}, grades{{0, "bad"}, {1, "fair"}, {2, "good"}};
    CHECK(required((value + R"("least": 1})").c_str(), "1", 0, answers) == "yes");
    CHECK(required((value + R"("most": 0})").c_str(), "1", 0, answers) == "no");
    CHECK(required((value + R"("least": 1})").c_str(), "1", 0, grades) == "fair or good");
    CHECK(required((value + R"("least": 0, "most": 1})").c_str(), "1", 0, grades) == "bad or fair");
    CHECK(required(R"({"count": {"event": "reboot"}, "most": 0})", "1", 0) == "none");
    CHECK(required(R"({"count": {"event": "shock"}, "most": 2})", "1", 0) == "at most 2");
    CHECK(required(R"({"count": {"event": "charge_fired"}, "least": 1})", "1", 0) == "at least 1");
    CHECK(required(R"({"alert": {}})", "1", 0) == "none raised");
    CHECK(required(R"({"statement": true})", "1", 0) == "confirmed");
    CHECK(required(R"({"passed": "x", "most": 14})", "d", 1) == "passed in the last 14 days");
    CHECK(required(R"({"says": {"table": "t", "column": "c"}})", "1", 0) == "the dictionary's version");
}
