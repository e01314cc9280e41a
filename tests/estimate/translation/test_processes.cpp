// Against tests/reference/numerics2/translation_filter.json (Singer's closed forms with 40 digits, compared with Van
// Loan's method by scipy) and gauss_markov.json (mpmath, 50 digits).
#include <catch2/catch.hpp>

#include "server/estimate/translation/processes.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::estimate;
using namespace turnstone::test;

TEST_CASE("Singer's process is made discrete as with 40 digits, for steps far shorter and longer than its time") {
    const auto& c = reference_case("numerics2/translation_filter.json", "singer_discretisation");
    const auto& given = c.at("inputs").at("sets");
    REQUIRE(given.size() == 5);
    for (std::size_t k = 0; k < given.size(); ++k) {
        const double step_s = given[k].at("T_s"), tau_s = given[k].at("tau_s");
        const SingerStep step = singer_step(step_s, tau_s, given[k].at("sigma_m_m_s2"));
        const auto& expected = c.at("expected").at("sets")[k];
        INFO("step " << step_s << " s, time " << tau_s << " s");
        for (int i = 0; i < 3; ++i)
            for (int j = 0; j < 3; ++j) {
                const auto at = [&](const char* name) {
                    return expected.at(name)[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)].get<double>();
                };
                CHECK(step.transition(i, j) == Approx(at("F")).epsilon(1e-12).margin(1e-15));
                CHECK(step.noise(i, j) == Approx(at("Q")).epsilon(1e-11));
            }
    }
}

TEST_CASE("A Gauss-Markov step keeps its digits, however short against its time") {
    const auto& c = reference_case("numerics2/gauss_markov.json", "discretisation");
    const auto& given = c.at("inputs").at("rows");
    REQUIRE(given.size() == 11);
    for (std::size_t k = 0; k < given.size(); ++k) {
        const GaussMarkovStep step = gauss_markov_step(given[k][1], given[k][0], given[k][2]);
        CHECK(step.transition == Approx(c.at("expected").at("rows")[k][0].get<double>()).epsilon(1e-12));
        CHECK(step.variance == Approx(c.at("expected").at("rows")[k][1].get<double>()).epsilon(1e-12).margin(1e-300));
    }
}

TEST_CASE("A steady mean of the acceleration moves the vehicle as a known acceleration does") {
    // Of a process that starts at its mean, nothing decays: half of a t squared.
    const SingerStep step = singer_step(2.0, 3.0, 5.0);
    const Eigen::Vector3d from_rest = step.transition * Eigen::Vector3d(0, 0, -9.8) - 9.8 * singer_mean(2.0, step);
    CHECK(from_rest.x() == Approx(-0.5 * 9.8 * 4));
    CHECK(from_rest.y() == Approx(-9.8 * 2));
    CHECK(from_rest.z() == Approx(-9.8));
}
