// Flights moment by moment, against scipy's mean, standard deviation and interval of the same sample
// (tests/reference/numerics/stats.json).
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include "server/analysis/ensemble/ensemble.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_cases;

TEST_CASE("each moment's mean, spread and interval are those of the flights that have a value there") {
    constexpr double kMissing = std::numeric_limits<double>::quiet_NaN();
    const auto cases = reference_cases("numerics/stats.json", "one_sample");
    REQUIRE(cases.size() >= 4);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        // The sample at the first and the third moment, beside a flight that has a gap there; one value at the second.
        std::vector<std::vector<double>> flights{{kMissing, 7, kMissing}};
        for (const double x : one.at("inputs").at("x")) flights.push_back({x, kMissing, 2 * x});
        const Ensemble ensemble = ensemble_of(flights);
        const auto& expected = one.at("expected");
        const double mean = expected.at("mean"), sd = expected.at("sd_n_minus_1");
        const double low = expected.at("ci_mean").at("0.95")[0], high = expected.at("ci_mean").at("0.95")[1];
        for (const auto& [moment, factor] :
             {std::pair<std::size_t, double>(0, 1), std::pair<std::size_t, double>(2, 2)}) {
            CHECK(ensemble.mean[moment] == Approx(factor * mean).epsilon(1e-12));
            CHECK(ensemble.sd[moment] == Approx(factor * sd).epsilon(1e-9));
            CHECK(ensemble.low[moment] == Approx(factor * low).epsilon(1e-9));
            CHECK(ensemble.high[moment] == Approx(factor * high).epsilon(1e-9));
        }
        CHECK(ensemble.mean[1] == 7);
        CHECK(std::isnan(ensemble.sd[1]));
        CHECK(std::isnan(ensemble.low[1]));
    }
    CHECK(ensemble_of({}).mean.empty());
}

TEST_CASE("a flight differs from the first where both have a value") {
    constexpr double kMissing = std::numeric_limits<double>::quiet_NaN();
    const std::vector<std::vector<double>> flights{{1, 2, kMissing}, {3, kMissing, 5}};
    const auto differences = minus_first(flights);
    REQUIRE(differences.size() == 2);
    CHECK(differences[0][0] == 0);
    CHECK(differences[1][0] == 2);
    CHECK(std::isnan(differences[1][1]));
    CHECK(std::isnan(differences[1][2]));
}
