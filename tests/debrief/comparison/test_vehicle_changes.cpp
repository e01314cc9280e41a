// What changed between two vehicle files, by JSON Pointers of RFC 6901, and that a pointer finds the value it names.
#include <catch2/catch.hpp>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/vehicle_changes.hpp"

using nlohmann::json;
using turnstone::debrief::vehicle_changes;

TEST_CASE("each change of a vehicle file has the pointer of its value") {
    const json before = json::parse(R"({"name":"a","rocket":{"mass_dry_kg":2.9,"thrust":[[0,0],[0.1,200],[1,0]],
        "parachutes":[{"name":"drogue","drag_area_m2":0.11}],"a/b":{"m~n":1}},"same":[1,2]})");
    const json after = json::parse(R"({"name":"a","rocket":{"mass_dry_kg":3.05,"thrust":[[0,0],[0.1,210],[1,0],[2,0]],
        "parachutes":[{"name":"drogue","drag_area_m2":0.11,"opens":{"at":"apogee"}}],"a/b":{"m~n":[1]}},"same":[1,2],
        "new":null})");
    const auto changes = vehicle_changes(before, after);
    std::vector<std::string> pointers;
    for (const auto& change : changes) {
        INFO(change.pointer);
        pointers.push_back(change.pointer);
        const json::json_pointer pointer(change.pointer);
        if (!change.before.is_null()) CHECK(before.at(pointer) == change.before);
        if (!change.after.is_null()) CHECK(after.at(pointer) == change.after);
        CHECK(change.before != change.after);
    }
    CHECK(pointers == std::vector<std::string>{"/rocket/a~1b/m~0n", "/rocket/mass_dry_kg", "/rocket/parachutes/0/opens",
                                               "/rocket/thrust/1/1", "/rocket/thrust/3"});
    CHECK(vehicle_changes(before, before).empty());
    CHECK(vehicle_changes(before, after, 2).size() == 2);
    const auto whole = vehicle_changes(json(3), json("x"));
    REQUIRE(whole.size() == 1);
    CHECK(whole[0].pointer.empty());
}
