// One figure over several flights: outliers as the NIST/SEMATECH e-Handbook works them out
// (tests/reference/numerics2/outliers.json), a straight line against the certified values of NIST's Statistical
// Reference Datasets, Norris (https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml; J. Norris, ozone monitors).
#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <vector>

#include "server/analysis/ensemble/spread.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;

namespace {

constexpr std::array kNorrisX{0.2, 337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
                              0.6, 775.5, 666.9, 338.0, 447.5, 11.6,  556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
                              0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
constexpr std::array kNorrisY{0.1, 338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
                              0.1, 778.1, 668.8, 339.3, 448.9, 10.8,  557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
                              0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};

} // namespace

TEST_CASE("a straight line has the certified slope, intercept and errors") {
    const Trend trend = trend_of(kNorrisX, kNorrisY);
    CHECK(trend.count == 36);
    CHECK(trend.slope == Approx(1.00211681802045).epsilon(1e-12));
    CHECK(trend.intercept == Approx(-0.262323073774029).epsilon(1e-9));
    CHECK(trend.residual_sd == Approx(0.884796396144373).epsilon(1e-11));
    CHECK(trend.slope_error == Approx(0.429796848199937e-3).epsilon(1e-11));
    // t(0.975, 34) = 2.0322445 (e-Handbook, table 1.3.6.7.2: 2.032).
    CHECK(trend.slope_interval.high - trend.slope == Approx(2.0322445 * 0.429796848199937e-3).epsilon(1e-6));
    CHECK(trend.slope - trend.slope_interval.low == Approx(2.0322445 * 0.429796848199937e-3).epsilon(1e-6));
}

TEST_CASE("a line through too few points says so") {
    const std::vector<double> x{0, 3, 5}, y{1, 7, std::nan("")};
    const Trend of_two = trend_of(x, y);
    CHECK(of_two.count == 2);
    CHECK(of_two.slope == Approx(2));
    CHECK(std::isnan(of_two.slope_interval.low));
    CHECK(std::isnan(trend_of(std::vector<double>{4, 4, 4}, std::vector<double>{1, 2, 3}).slope));
    CHECK(std::isnan(trend_of({}, {}).slope));
}

TEST_CASE("few flights are looked through by Grubbs' test") {
    const auto cases = reference_cases("numerics2/outliers.json", "grubbs");
    std::size_t checked = 0;
    for (const auto& one : cases) {
        const auto values = one.at("inputs").at("x").get<std::vector<double>>();
        if (values.size() >= kValuesForEsd) continue;
        INFO(one.at("id"));
        const auto& expected = one.at("expected");
        const FigureSpread spread = spread_of(values);
        const bool found = expected.at("verdict").at("0.05").at("two_sided").get<bool>();
        REQUIRE(spread.outliers.size() == (found ? 1U : 0U));
        if (!found) continue;
        CHECK(spread.outliers[0].test == "Grubbs");
        CHECK(spread.outliers[0].index == expected.at("suspect_index").get<std::size_t>());
        CHECK(spread.outliers[0].statistic == Approx(expected.at("G_two_sided").get<double>()).epsilon(1e-9));
        ++checked;
    }
    CHECK(checked >= 1);
}

TEST_CASE("many flights are looked through for several outliers") {
    // Rosner's 54 values, three outliers: e-Handbook, 1.3.5.17.3.
    const auto& rosner = reference_case("numerics2/outliers.json", "gesd_rosner_1983");
    const FigureSpread spread = spread_of(rosner.at("inputs").at("x").get<std::vector<double>>());
    REQUIRE(spread.outliers.size() == 3);
    for (std::size_t i = 0; i < 3; ++i) {
        const auto& row = rosner.at("expected").at("rows")[i];
        CHECK(spread.outliers[i].test == "generalised ESD");
        CHECK(spread.outliers[i].statistic == Approx(row[1].get<double>()).epsilon(1e-9));
        CHECK(spread.outliers[i].critical == Approx(row[2].get<double>()).epsilon(1e-9));
        CHECK(spread.outliers[i].index == row[4].get<std::size_t>());
    }
}

TEST_CASE("the spread is told relative to the mean's size") {
    CHECK(spread_of(std::vector<double>{-90, -100, -110}).relative_spread == Approx(0.1));
    CHECK(std::isnan(spread_of(std::vector<double>{-1, 1}).relative_spread));
    CHECK(std::isnan(spread_of(std::vector<double>{5}).relative_spread));
}
