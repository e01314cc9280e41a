// The demo's board of the demo vehicle that stands on its rail with nothing wrong: from the transmitter's bytes.
#include <map>
#include <set>
#include <span>
#include <string>

#include <catch2/catch.hpp>

#include "server/pipeline/checklist/check.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "shared/time.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// What rests on people, on other machines or on recordings of before.
const std::set<std::string> kNotOfTheRocket{"disk",        "wind_mean",      "wind_gust",
                                            "moved",       "rail_set",       "separation_test",
                                            "range_clear", "recovery_ready", "permission"};

PipelineSetup setup_on_rail(const Site& site) {
    std::vector<Problem> problems;
    const auto text = [](const char* name) { return read_file(demo_path("sanderling") / name); };
    auto vehicle = read_vehicle_texts(text("dictionary.json"), text("vehicle.json"), "sanderling", problems,
                                      {{"readiness.json", text("readiness.json")},
                                       {"procedures/separation-test.json", text("procedures/separation-test.json")}});
    INFO(to_string(problems));
    REQUIRE(vehicle);
    PipelineSetup setup;
    setup.vehicles.push_back(*std::move(vehicle));
    setup.site = site;
    setup.links.push_back({"radio", "", 0});
    return setup;
}

} // namespace

TEST_CASE("on the rail with nothing wrong, every must-check about the rocket holds, and goes on holding") {
    const std::uint64_t seed = GENERATE(range(1, 9));
    constexpr double kStand_s = 45, kFrom_s = 15; // predictions come every ten seconds there
    constexpr std::int64_t kStart_ns = 1'790'000'000 * kNsPerS;
    auto scenario = sim::make_scenario("on-the-rail", demo_path("sanderling"), demo_path("site.json"));
    REQUIRE(scenario);
    scenario->before_ignition_s = kStand_s;
    scenario->after_touchdown_s = 0;
    const sim::FlightResult flight = sim::fly(*scenario, seed);
    const PipelineSetup setup = setup_on_rail(scenario->site);
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const sim::Delivery& each : flight.received.deliveries) {
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(each.t_end_s);
        pipeline.chunk(0, t_ns, t_ns, std::as_bytes(std::span(flight.received.bytes).subspan(each.offset, each.size)),
                       out);
    }
    std::size_t rows = 0;
    std::map<std::string, std::size_t> not_held;
    for (const RowRecord& row : out.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != "sanderling/readiness" || row.t_ns < kStart_ns + seconds_to_ns(kFrom_s)) continue;
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
