// Outliers against critical values worked out to many digits, and the worked examples of the NIST/SEMATECH e-Handbook:
// Grubbs' on eight values (1.3.5.17.1), the generalised ESD on Rosner's fifty-four (1.3.5.17.3).
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

#include "server/analysis/statistics/outliers.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;

TEST_CASE("the critical values of Grubbs' test are those of the tables") {
    const auto& table = reference_case("numerics2/outliers.json", "grubbs_critical_values").at("expected");
    REQUIRE(table.at("columns")[4] == "two_sided_0.05");
    std::size_t checked = 0;
    for (const auto& row : table.at("rows")) {
        const auto count = row[0].get<std::size_t>();
        INFO(count << " values");
        CHECK(grubbs_critical(count, 0.1) == Approx(row[2].get<double>()).epsilon(1e-8));
        CHECK(grubbs_critical(count, 0.05) == Approx(row[4].get<double>()).epsilon(1e-8));
        CHECK(grubbs_critical(count, 0.01) == Approx(row[6].get<double>()).epsilon(1e-8));
        ++checked;
    }
    CHECK(checked == 16);
    CHECK(std::isnan(grubbs_critical(2, 0.05)));
}

TEST_CASE("Grubbs' test finds the one that does not belong") {
    const auto cases = reference_cases("numerics2/outliers.json", "grubbs");
    REQUIRE(cases.size() >= 7);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto values = one.at("inputs").at("x").get<std::vector<double>>();
        const auto& expected = one.at("expected");
        for (const char* alpha : {"0.1", "0.05", "0.01"}) {
            const Suspect suspect = grubbs(values, std::stod(alpha));
            CHECK(suspect.index == expected.at("suspect_index").get<std::size_t>());
            CHECK(suspect.distance == Approx(expected.at("G_two_sided").get<double>()).epsilon(1e-9));
            CHECK((suspect.distance > suspect.critical) ==
                  expected.at("verdict").at(alpha).at("two_sided").get<bool>());
        }
    }
}

TEST_CASE("there is no outlier among values that are alike or too few") {
    const auto cases = reference_cases("numerics2/outliers.json", "grubbs_undefined");
    REQUIRE(cases.size() >= 2);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto values = one.at("inputs").at("x").get<std::vector<double>>();
        CHECK(std::isnan(grubbs(values).distance));
        CHECK(generalised_esd(values, 3).outliers.empty());
    }
}

TEST_CASE("the generalised ESD finds outliers that hide each other") {
    const auto cases = reference_cases("numerics2/outliers.json", "gesd");
    REQUIRE(cases.size() >= 6);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto values = one.at("inputs").at("x").get<std::vector<double>>();
        const double alpha = one.at("inputs").at("alpha").get<double>();
        const auto& expected = one.at("expected");
        const ExtremeDeviates found = generalised_esd(values, one.at("inputs").at("r").get<std::size_t>(), alpha);
        REQUIRE(found.removed.size() == expected.at("rows").size());
        const double precise = one.at("id") == "gesd_exact_offset_1e6" ? 1e-7 : 1e-9;
        for (std::size_t i = 0; i < found.removed.size(); ++i) {
            CHECK(found.removed[i].distance == Approx(expected.at("rows")[i][1].get<double>()).epsilon(precise));
            CHECK(found.removed[i].critical == Approx(expected.at("rows")[i][2].get<double>()).epsilon(1e-8));
            CHECK(values[found.removed[i].index] == expected.at("rows")[i][3].get<double>());
        }
        std::vector<std::size_t> outliers = found.outliers;
        std::ranges::sort(outliers);
        CHECK(outliers == expected.at("outlier_indices").get<std::vector<std::size_t>>());
        if (!expected.contains("published_R")) continue;
        // Printed with three decimals, some of them cut and some rounded.
        for (std::size_t i = 0; i < found.removed.size(); ++i) {
            CHECK(found.removed[i].distance == Approx(expected.at("published_R")[i].get<double>()).margin(1e-3));
            CHECK(found.removed[i].critical == Approx(expected.at("published_lambda")[i].get<double>()).margin(1e-3));
        }
        CHECK(found.outliers.size() == expected.at("published_outliers").get<std::size_t>());
    }
}

TEST_CASE("an outlier keeps its place among values that do not count") {
    CHECK(grubbs(std::vector<double>{std::nan(""), 1, 1.1, std::nan(""), 0.9, 9, 1}).index == 5);
}
