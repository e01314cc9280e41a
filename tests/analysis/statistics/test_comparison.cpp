// Tests of means and spreads against values of scipy and statsmodels.
#include <catch2/catch.hpp>

#include <cmath>
#include <span>
#include <vector>

#include "server/analysis/statistics/comparison.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_cases;

namespace {

double number(const nlohmann::json& json) {
    return json.is_null() ? std::nan("") : json.get<double>();
}

void check_close(double value, double expected, double relative) {
    if (std::isnan(expected))
        CHECK(std::isnan(value));
    else
        CHECK(value == Approx(expected).epsilon(relative).margin(1e-300));
}

FTest spread_test(const std::vector<std::vector<double>>& groups) {
    const std::vector<std::span<const double>> spans(groups.begin(), groups.end());
    return brown_forsythe(spans);
}

} // namespace

TEST_CASE("Welch's t, the ratio of variances and Brown-Forsythe give scipy's values") {
    const auto cases = reference_cases("numerics/stats.json", "two_sample");
    REQUIRE(cases.size() >= 6);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        // Differences of values near 1e6 keep nine digits fewer.
        const double precise = one.at("id") == "two_sample_large_offset" ? 1e-6 : 1e-8;
        const auto a = one.at("inputs").at("a").get<std::vector<double>>();
        const auto b = one.at("inputs").at("b").get<std::vector<double>>();
        const auto& expected = one.at("expected");
        const TTest welch = welch_t(summarise(a), summarise(b));
        check_close(welch.t, number(expected.at("welch").at("t")), precise);
        check_close(welch.freedom, number(expected.at("welch").at("df")), precise);
        check_close(welch.p, number(expected.at("welch").at("p_two_sided")), precise);
        for (const char* confidence : {"0.9", "0.95", "0.99"}) {
            const auto& limits = expected.at("welch").at("ci_of_mean_a_minus_mean_b").at(confidence);
            const Interval interval = difference_interval(welch, std::stod(confidence));
            check_close(interval.low, number(limits[0]), 1e-6);
            check_close(interval.high, number(limits[1]), 1e-6);
        }
        const FTest ratio = variance_ratio(summarise(a), summarise(b));
        const auto& f = expected.at("variance_ratio_F");
        check_close(ratio.f, number(f.at("F_a_over_b")), precise);
        check_close(ratio.p, number(f.at("p_two_sided")), precise);
        check_close(ratio_interval(ratio).low, number(f.at("ci95_of_ratio")[0]), precise);
        check_close(ratio_interval(ratio).high, number(f.at("ci95_of_ratio")[1]), precise);
        const FTest spread = brown_forsythe(a, b);
        const auto& levene = expected.at("levene_median_brown_forsythe");
        check_close(spread.f, number(levene.at("W")), precise);
        check_close(spread.p, number(levene.at("p")), precise);
        check_close(effect_size(summarise(a), summarise(b)).cohen_d, number(expected.at("effect_size_cohen_d")),
                    precise);
    }
}

TEST_CASE("a comparison says how large a difference is, and when two are the same for all practical purposes") {
    const auto cases = reference_cases("numerics2/power.json", "two_sample");
    REQUIRE(cases.size() >= 10);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const double precise = one.at("id") == "two_sample_offset_1e6" ? 1e-6 : 1e-8;
        const auto a = one.at("inputs").at("a").get<std::vector<double>>();
        const auto b = one.at("inputs").at("b").get<std::vector<double>>();
        const auto& expected = one.at("expected");
        const TTest welch = welch_t(summarise(a), summarise(b));
        check_close(welch.difference, number(expected.at("difference_of_means")), precise);
        check_close(welch.standard_error, number(expected.at("standard_error")), precise);
        check_close(welch.t, number(expected.at("t")), precise);
        check_close(welch.p, number(expected.at("p_two_sided")), 1e-6);
        check_close(equivalence_p(welch, one.at("inputs").at("equivalence_margin").get<double>()),
                    number(expected.at("tost_welch").at("p")), 1e-5);
        const EffectSize effect = effect_size(summarise(a), summarise(b));
        check_close(effect.cohen_d, number(expected.at("cohen_d_pooled")), precise);
        check_close(effect.hedges_g, number(expected.at("hedges_g")), precise);
        const auto& spread = expected.at("brown_forsythe");
        check_close(brown_forsythe(a, b).p, spread.is_null() ? std::nan("") : number(spread.at("p")), 1e-6);
    }
}

TEST_CASE("Brown-Forsythe compares any number of groups, and says nothing where there is no spread") {
    const auto cases = reference_cases("numerics2/power.json", "brown_forsythe");
    REQUIRE(cases.size() >= 5);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto test = spread_test(one.at("inputs").at("groups").get<std::vector<std::vector<double>>>());
        check_close(test.f, number(one.at("expected").at("F")), 1e-9);
        check_close(test.p, number(one.at("expected").at("p")), 1e-8);
    }
    // Every distance from the median is 0.1 but for rounding.
    CHECK(std::isnan(spread_test({{0.1, 0.1, 0.3, 0.3}, {0.1, 0.1, 0.3, 0.3}}).f));
}

TEST_CASE("two samples that cannot be compared have no p-value") {
    const auto cases = reference_cases("numerics2/power.json", "two_sample_undefined");
    REQUIRE(cases.size() >= 4);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const Summary a = summarise(one.at("inputs").at("a").get<std::vector<double>>());
        const Summary b = summarise(one.at("inputs").at("b").get<std::vector<double>>());
        const TTest welch = welch_t(a, b);
        CHECK(std::isnan(welch.t));
        CHECK(std::isnan(welch.p));
        CHECK(std::isnan(difference_interval(welch).low));
        CHECK(std::isnan(equivalence_p(welch, 1)));
        CHECK(std::isnan(effect_size(a, b).hedges_g));
        CHECK(std::isnan(variance_ratio(a, b).p));
        CHECK(std::isnan(ratio_interval(variance_ratio(a, b)).low));
    }
}
