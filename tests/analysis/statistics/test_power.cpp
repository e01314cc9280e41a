// What a comparison could have seen, against scipy and statsmodels.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/analysis/statistics/power.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;

TEST_CASE("the power of a t test is that of statsmodels") {
    const auto& one = reference_case("numerics2/power.json", "power_two_sample");
    const auto& in = one.at("inputs").at("rows");
    const auto& out = one.at("expected").at("rows");
    REQUIRE(in.size() == out.size());
    REQUIRE(in.size() >= 12);
    for (std::size_t i = 0; i < in.size(); ++i) {
        INFO(in[i]);
        CHECK(power_of_t_test(in[i][0].get<double>(), in[i][1].get<std::size_t>(), in[i][2].get<std::size_t>(),
                              in[i][3].get<double>()) == Approx(out[i][0].get<double>()).margin(1e-8));
    }
}

TEST_CASE("the least difference that would have been seen is that of statsmodels") {
    const auto& one = reference_case("numerics2/power.json", "least_detectable_difference");
    const auto& in = one.at("inputs").at("rows");
    const auto& out = one.at("expected").at("rows");
    REQUIRE(in.size() == out.size());
    REQUIRE(in.size() >= 15);
    for (std::size_t i = 0; i < in.size(); ++i) {
        INFO(in[i]);
        CHECK(least_detectable_effect(in[i][0].get<std::size_t>(), in[i][1].get<std::size_t>(), in[i][3].get<double>(),
                                      in[i][4].get<double>()) == Approx(out[i][0].get<double>()).epsilon(1e-6));
    }
}

TEST_CASE("samples of thousands have a power too") {
    // With many values the test is that of the normal distribution: (z(0.975) + z(0.8)) sqrt(1 / n1 + 1 / n2).
    CHECK(least_detectable_effect(5000, 20000) ==
          Approx((1.959964 + 0.841621) * std::sqrt(1 / 5000.0 + 1 / 20000.0)).epsilon(1e-3));
    CHECK(std::isnan(least_detectable_effect(1, 20)));
    CHECK(std::isnan(power_of_t_test(1, 1, 20)));
    CHECK(power_of_t_test(0, 8, 8) == Approx(0.05).margin(1e-10));
}

TEST_CASE("the least shift in a plane is that of the tables") {
    // J. Cohen, "Statistical Power Analysis for the Behavioral Sciences", 2nd edition, chapters 7 and 9: lambda for two
    // degrees of freedom at level 0.05 is 9.64 for a power of 0.80 and 12.65 for 0.90 (from memory).
    const double critical = std::sqrt(-2 * std::log(0.05));
    CHECK(std::pow(least_detectable_in_plane(critical, 0.80), 2) == Approx(9.635).margin(0.01));
    CHECK(std::pow(least_detectable_in_plane(critical, 0.90), 2) == Approx(12.654).margin(0.01));
    // Where it goes over to the normal distribution nothing jumps.
    CHECK(least_detectable_in_plane(29.9999) + 2e-4 == Approx(least_detectable_in_plane(30.0001)).margin(0.02));
    CHECK(least_detectable_in_plane(1000) == Approx(1000.8416).margin(1e-3));
    CHECK(std::isnan(least_detectable_in_plane(NAN)));
    CHECK(std::isnan(least_detectable_in_plane(2, 1)));
}
