// Weighings added up: margins, what is known and what is not, history, like parts.
#include <catch2/catch.hpp>

#include <cmath>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/analysis/mass/mass_budget.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

MassBudget budget_of(const std::string& rows) {
    std::vector<Problem> problems;
    const auto weighings = read_mass_csv(
        "part,like,burns,target_kg,mass_kg,mass_sigma_kg,station_m,station_sigma_m,pitch_inertia_kg_m2,weighed_on\n" +
            rows,
        "mass.csv", problems);
    INFO(to_string(problems));
    REQUIRE(weighings);
    return mass_budget(*weighings);
}

} // namespace

TEST_CASE("a part's newest weighing counts, and its history stays") {
    const MassBudget budget = budget_of("sled,,,0.33,0.331,0.001,0.42,0.01,,2026-03-07\n"
                                        "tube,,,0.45,0.442,0.001,1.02,0.01,,\n"
                                        "sled,,,,0.338,0.001,,,,2026-05-02\n"
                                        "sled,,,,0.3365,0.001,,,,2026-04-11\n");
    REQUIRE(budget.parts.size() == 2);
    const BudgetPart& sled = budget.parts[0];
    CHECK(sled.now.mass_kg == 0.338);
    CHECK(sled.now.weighed_on == "2026-05-02");
    CHECK(sled.now.station_m == 0.42); // said once, in the first line
    CHECK(sled.margin_kg == Approx(-0.008));
    REQUIRE(sled.history.size() == 3);
    CHECK(sled.history[0].mass_kg == 0.331);
    CHECK(sled.history[1].mass_kg == 0.3365);
    CHECK(budget.loaded.mass_kg == Approx(0.78));
    CHECK(budget.loaded.margin_kg == Approx(0.0));
}

TEST_CASE("of one date the later line counts, and a line without a mass does not take it away") {
    CHECK(budget_of("a,,,,1,,,,,2026-05-02\na,,,,2,,,,,2026-05-02\n").parts[0].now.mass_kg == 2);
    const BudgetPart part = budget_of("a,,,,1,0.1,,,,2026-05-02\na,,,3,,,,,,2026-06-01\n").parts[0];
    CHECK(part.now.mass_kg == 1);
    CHECK(part.now.target_kg == 3);
    CHECK(part.now.weighed_on == "2026-05-02");
    CHECK(part.history.size() == 1);
}

TEST_CASE("propellant is in the loaded mass and not in the burnt-out one") {
    const MassBudget budget =
        budget_of("tube,,,1.0,0.9,0.01,0.5,0.01,0.02,\ngrain,,yes,0.35,0.34,0.003,1.1,0.01,0.001,\n");
    CHECK(budget.loaded.mass_kg == Approx(1.24));
    CHECK(budget.burnt_out.mass_kg == Approx(0.9));
    CHECK(budget.propellant_kg == Approx(0.34));
    CHECK(budget.propellant_sigma_kg == Approx(0.003));
    CHECK(budget.loaded.mass_sigma_kg == Approx(std::hypot(0.01, 0.003)));
    CHECK(budget.loaded.mass_sigma_scale_kg == Approx(0.013));
    CHECK(budget.loaded.station_m == Approx((0.9 * 0.5 + 0.34 * 1.1) / 1.24));
    CHECK(budget.burnt_out.station_m == Approx(0.5));
    CHECK(budget.burnt_out.pitch_inertia_kg_m2 == Approx(0.02));
    CHECK(std::isnan(budget_of("tube,,,,0.9,,,,,\n").propellant_kg));
}

TEST_CASE("what is not known of one part is not known of the whole") {
    const MassBudget budget = budget_of("a,,,1,0.9,0.01,0.5,0.01,,\nb,,,1,,,,,,\nc,,,,0.5,0.01,,,,\n");
    CHECK(budget.loaded.parts == 3);
    CHECK(budget.loaded.weighed == 2);
    CHECK(budget.loaded.placed == 1);
    CHECK(budget.loaded.with_target == 2);
    CHECK(budget.loaded.mass_kg == Approx(1.4));
    CHECK(std::isnan(budget.loaded.margin_kg));
    CHECK(std::isnan(budget.loaded.station_m));
    CHECK(std::isnan(budget.loaded.pitch_inertia_kg_m2));
    // A weighing without a sigma leaves the total's open.
    CHECK(std::isnan(budget_of("a,,,,1,0.1,,,,\nb,,,,1,,,,,\n").loaded.mass_sigma_kg));
    CHECK(std::isnan(budget_of("").loaded.mass_kg));
}

TEST_CASE("like parts are compared in pairs, many of a kind with the first") {
    const MassBudget two = budget_of("A,battery,,,0.0821,0.0012,,,,\nB,battery,,,0.0799,0.001,,,,\nC,,,,1,,,,,\n");
    REQUIRE(two.pairs.size() == 1);
    CHECK(two.pairs[0].difference.fraction == Approx(0.0022 / 0.081));
    // GUM, 5.1.2: of (a - b) / mean, with both independent.
    CHECK(two.pairs[0].difference.sigma == Approx(std::hypot(0.0799 * 0.0012, 0.0821 * 0.001) / (0.081 * 0.081)));
    std::string fins;
    for (int i = 1; i <= 4; ++i) fins += "fin " + std::to_string(i) + ",fin,,,0.06,0.001,,,,\n";
    CHECK(budget_of(fins).pairs.size() == 6);
    CHECK(budget_of(fins + "fin 5,fin,,,0.06,0.001,,,,\n").pairs.size() == 4);
}

TEST_CASE("the demo vehicle's parts are what its vehicle file says, to a per cent") {
    std::vector<Problem> problems;
    const auto weighings = read_mass_csv(test::read_file(test::demo_path("sanderling/mass.csv")), "mass.csv", problems);
    REQUIRE(weighings);
    const MassBudget budget = mass_budget(*weighings);
    const auto vehicle = test::read_json(test::demo_path("sanderling/vehicle.json")).at("rocket");
    const double dry_kg = vehicle.at("mass_dry_kg").get<double>();
    CHECK(budget.burnt_out.mass_kg == Approx(dry_kg).epsilon(0.01));
    CHECK(budget.burnt_out.mass_kg != dry_kg); // weighing has something to offer
    CHECK(budget.propellant_kg == Approx(vehicle.at("mass_propellant_kg").get<double>()).epsilon(0.01));
    CHECK(budget.loaded.weighed == budget.loaded.parts);
    CHECK(budget.loaded.margin_kg > 0);
    CHECK(budget.pairs.size() == 7);
}
