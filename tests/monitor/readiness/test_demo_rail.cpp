// The demo's board of the demo vehicle that stands on its rail with nothing wrong: from the transmitter's bytes.
#include <map>
#include <set>
#include <string>

#include <catch2/catch.hpp>

#include "server/pipeline/checklist/check.hpp"
#include "tests/monitor/readiness/demo_board.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// What rests on people, on other machines or on recordings of before.
const std::set<std::string> kNotOfTheRocket{"disk",        "wind_mean",      "wind_gust",
                                            "moved",       "rail_set",       "separation_test",
                                            "range_clear", "recovery_ready", "permission"};

} // namespace

TEST_CASE("on the rail with nothing wrong, every must-check about the rocket holds, and goes on holding") {
    const std::uint64_t seed = GENERATE(range(1, 9));
    constexpr double kStand_s = 45, kFrom_s = 15; // predictions come every ten seconds there
    auto scenario = sim::make_scenario("on-the-rail", demo_path("sanderling"), demo_path("site.json"));
    REQUIRE(scenario);
    scenario->before_ignition_s = kStand_s;
    scenario->after_touchdown_s = 0;
    const sim::FlightResult flight = sim::fly(*scenario, seed);
    PipelineSetup setup = demo_board();
    setup.site = scenario->site;
    Pipeline pipeline(setup, kBoardStart_ns);
    const Batch out = receive(pipeline, flight);
    std::size_t rows = 0;
    std::map<std::string, std::size_t> not_held;
    for (const RowRecord& row : out.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != "sanderling/readiness" || row.t_ns < kBoardStart_ns + seconds_to_ns(kFrom_s)) continue;
        ++rows;
        for (const Check* check : checks_of(*setup.vehicles.front().readiness)) {
            if (check->severity != Severity::must || kNotOfTheRocket.contains(check->id)) continue;
            for (std::size_t k = 0; k < table.number_count; ++k)
                if (table.columns[k].name == check->id + "_state" &&
                    static_cast<CheckState>(static_cast<int>(out.numbers_of(row, table)[k])) != CheckState::holds)
                    ++not_held[check->id];
        }
    }
    CHECK(rows >= 25);
    for (const auto& [id, count] : not_held) {
        INFO("seed " << seed << ": " << id << " in " << count << " of " << rows << " rows");
        CHECK(count == 0);
    }
}
