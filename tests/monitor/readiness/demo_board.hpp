#pragma once
/// The demo vehicle with its readiness board and the procedure that the board asks for.
#include <catch2/catch.hpp>

#include "server/pipeline/setup.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "tests/support/tree.hpp"

namespace turnstone::test {

inline PipelineSetup demo_board() {
    std::vector<Problem> problems;
    const auto text = [](const char* name) { return read_file(demo_path("sanderling") / name); };
    auto vehicle = read_vehicle_texts(text("dictionary.json"), text("vehicle.json"), "sanderling", problems,
                                      {{"readiness.json", text("readiness.json")},
                                       {"procedures/separation-test.json", text("procedures/separation-test.json")}});
    INFO(to_string(problems));
    REQUIRE(vehicle);
    PipelineSetup setup;
    setup.vehicles.push_back(*std::move(vehicle));
    setup.site.pad = setup.site.station = {40, -118, 1200};
    setup.links.push_back({"radio", "", 0});
    return setup;
}

} // namespace turnstone::test
