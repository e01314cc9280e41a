// What the demo's board makes of what the demo vehicle reports of itself, from the transmitter's bytes.
#include <string>

#include <catch2/catch.hpp>

#include "server/pipeline/checklist/check.hpp"
#include "tests/monitor/readiness/demo_board.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// The newest state of a check of the board, of a vehicle that has stood on the rail for a while.
std::string state_on_the_rail(const PipelineSetup& setup, const sim::FlightResult& flight, const std::string& check) {
    Pipeline pipeline(setup, kBoardStart_ns);
    const Batch out = receive(pipeline, flight);
    std::string state = "none";
    for (const RowRecord& row : out.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != "sanderling/readiness") continue;
        for (std::size_t k = 0; k < table.number_count; ++k)
            if (table.columns[k].name == check + "_state")
                state = word(static_cast<CheckState>(static_cast<int>(out.numbers_of(row, table)[k])));
    }
    return state;
}

} // namespace

TEST_CASE("the demo's board compares the dictionary that the vehicle says it was built with, and firmware apart") {
    auto scenario = sim::make_scenario("on-the-rail", demo_path("sanderling"), demo_path("site.json"));
    REQUIRE(scenario);
    scenario->before_ignition_s = 6;
    scenario->after_touchdown_s = 0;
    const sim::FlightResult flight = sim::fly(*scenario, 5);
    PipelineSetup setup = demo_board();
    setup.site = scenario->site;
    CHECK(state_on_the_rail(setup, flight, "dictionary") == "holds");
    CHECK(state_on_the_rail(setup, flight, "firmware") == "holds");
    setup.vehicles.front().dictionary.version = "1.0.1"; // this station's
    CHECK(state_on_the_rail(setup, flight, "dictionary") == "fails");
    CHECK(state_on_the_rail(setup, flight, "firmware") == "holds");
    for (const Check* check : checks_of(*setup.vehicles.front().readiness))
        if (check->id == "dictionary") CHECK(check->severity == Severity::must);
}
