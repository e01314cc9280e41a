// Means, spreads and their limits against values of scipy, and relative differences as the trade quotes them.
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include "server/analysis/statistics/summary.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_cases;

TEST_CASE("a sample's mean, spread and limits are those of scipy") {
    const auto cases = reference_cases("numerics/stats.json", "one_sample");
    REQUIRE(cases.size() >= 4);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto values = one.at("inputs").at("x").get<std::vector<double>>();
        const auto& expected = one.at("expected");
        const Summary sample = summarise(values);
        CHECK(sample.count == values.size());
        CHECK(sample.mean == Approx(expected.at("mean").get<double>()).epsilon(1e-9));
        CHECK(sample.sd == Approx(expected.at("sd_n_minus_1").get<double>()).epsilon(1e-9));
        CHECK(sample.standard_error() == Approx(expected.at("standard_error").get<double>()).epsilon(1e-9));
        CHECK(median(values) == Approx(expected.at("median").get<double>()).epsilon(1e-12));
        for (const char* confidence : {"0.9", "0.95", "0.99"}) {
            INFO(confidence);
            const Interval of_mean = mean_interval(sample, std::stod(confidence));
            CHECK(of_mean.low == Approx(expected.at("ci_mean").at(confidence)[0].get<double>()).epsilon(1e-9));
            CHECK(of_mean.high == Approx(expected.at("ci_mean").at(confidence)[1].get<double>()).epsilon(1e-9));
            const Interval of_sd = sd_interval(sample, std::stod(confidence));
            CHECK(of_sd.low == Approx(expected.at("ci_sd").at(confidence)[0].get<double>()).epsilon(1e-8));
            CHECK(of_sd.high == Approx(expected.at("ci_sd").at(confidence)[1].get<double>()).epsilon(1e-8));
        }
    }
}

TEST_CASE("a small spread on a large offset keeps its digits") {
    // NIST Statistical Reference Datasets, univariate NumAcc4 (from memory: 10000000.2 and 1001 values that alternate
    // between .1 and .3 around it): certified mean 10000000.2, standard deviation 0.1.
    std::vector<double> values{10000000.2};
    for (int i = 0; i < 500; ++i) {
        values.push_back(10000000.1);
        values.push_back(10000000.3);
    }
    const Summary sample = summarise(values);
    CHECK(sample.mean == Approx(10000000.2).epsilon(1e-15));
    CHECK(sample.sd == Approx(0.1).epsilon(1e-7)); // 0.1 and 0.3 are held to 1e-9 at this offset
}

TEST_CASE("what is not finite counts for nothing, and a sample too small has no spread") {
    const double nan = std::nan("");
    const Summary sample = summarise(std::vector<double>{nan, 2, 4, HUGE_VAL, nan});
    CHECK(sample.count == 2);
    CHECK(sample.mean == 3);
    CHECK(median(std::vector<double>{nan, 5, 1, 3}) == 3);
    CHECK(std::isnan(summarise({}).mean));
    CHECK(std::isnan(median({})));
    const Summary single = summarise(std::vector<double>{4});
    CHECK(single.mean == 4);
    CHECK(std::isnan(single.sd));
    CHECK(std::isnan(mean_interval(single).low));
    CHECK(std::isnan(sd_interval(single).high));
}

TEST_CASE("two like things differ by their difference over their mean") {
    const auto cases = reference_cases("numerics/stats.json", "relative_difference");
    REQUIRE(cases.size() >= 9);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& in = one.at("inputs");
        const auto& expected = one.at("expected").at("fraction");
        const double fraction = relative_difference(in.at("a").get<double>(), 0, in.at("b").get<double>(), 0).fraction;
        if (expected.is_null())
            CHECK(std::isnan(fraction));
        else
            CHECK(std::abs(fraction) == Approx(expected.get<double>()).epsilon(1e-12));
    }
}

TEST_CASE("a relative difference carries the uncertainty of both") {
    const auto cases = reference_cases("numerics2/mass.json", "relative_difference");
    REQUIRE(cases.size() == 1);
    const auto& in = cases[0].at("inputs").at("rows");
    const auto& out = cases[0].at("expected").at("rows");
    REQUIRE(in.size() == out.size());
    REQUIRE(in.size() >= 7);
    for (std::size_t i = 0; i < in.size(); ++i) {
        const auto row = in[i].get<std::vector<double>>();
        INFO(in[i]);
        const RelativeDifference difference = relative_difference(row[0], row[1], row[2], row[3], row[4]);
        if (out[i][0].is_null()) {
            CHECK(std::isnan(difference.fraction));
            CHECK(std::isnan(difference.sigma));
        } else {
            CHECK(difference.fraction == Approx(out[i][0].get<double>()).margin(1e-15).epsilon(1e-12));
            CHECK(difference.sigma == Approx(out[i][2].get<double>()).margin(1e-15).epsilon(1e-9));
        }
    }
}
