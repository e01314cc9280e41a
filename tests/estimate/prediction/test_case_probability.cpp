// The probability of each landing case: Bayes' rule with numbers worked out by hand, and the probability of landing
// outside a boundary against tests/reference/numerics2/cases_mixture.json (bivariate normals by Green's theorem and
// scipy.integrate.quad).
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <random>

#include <Eigen/Cholesky>

#include "server/estimate/prediction/case_probability.hpp"
#include "server/estimate/prediction/landing_area.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using enum LandingCaseKind;

namespace {

RocketModel two_parachutes() {
    RocketModel rocket{};
    rocket.mass_dry_kg = 3;
    rocket.reference_area_m2 = 0.005;
    rocket.drag_coefficient = {{0}, {0.5}};
    rocket.parachutes = {{.name = "drogue", .drag_area_m2 = 0.1, .opens_after_s = 0.5},
                         {.name = "main", .drag_area_m2 = 1.5, .opens_below_m = 200.0}};
    rocket.scatter.opening_delay_s = 0.3;
    rocket.failures = {
        .drogue_fails = 0.03, .main_fails = 0.02, .both_fail = 0.01, .main_at_apogee = 0.04, .late_opening = 0.1};
    return rocket;
}

double sum_of(const ByLandingCase<double>& p) {
    double sum = 0;
    for (const LandingCaseWords& one : kLandingCases) sum += p[one.value];
    return sum;
}

} // namespace

TEST_CASE("before apogee the cases are as probable as the vehicle file says") {
    const auto p = case_probability(two_parachutes(), {});
    CHECK(p[nominal] == Approx(0.8));
    CHECK(p[no_parachute] == Approx(0.01));
    CHECK(p[main_at_apogee] == Approx(0.04));
    RocketModel one = two_parachutes();
    one.parachutes.pop_back();
    const auto single = case_probability(one, {});
    CHECK(single[no_parachute] == Approx(0.03)); // its only parachute fails
    CHECK(single[drogue_fails] == 0);
    CHECK(single[main_at_apogee] == 0);
    one.parachutes.clear();
    CHECK(case_probability(one, {})[nominal] == 1);
}

TEST_CASE("what the descent shows decides between the cases") {
    const RocketModel rocket = two_parachutes();
    struct Row {
        const char* what;
        DescentSeen seen;
        LandingCaseKind expected;
        std::vector<LandingCaseKind> ruled_out;
    };
    const double slow_mps = std::sqrt(2 * 3 * 9.80665 / (1.1 * 1.6)),
                 fast_mps = std::sqrt(2 * 3 * 9.80665 / (1.1 * 0.1));
    const Row table[] = {
        {"just past apogee", {.phase = Phase::falling, .since_apogee_s = 0.5}, nominal, {}},
        {"six seconds without a parachute",
         {.phase = Phase::falling, .since_apogee_s = 6},
         late_opening,
         {nominal, main_fails, main_at_apogee}},
        {"half a minute without one", {.phase = Phase::falling, .since_apogee_s = 30}, drogue_fails, {nominal}},
        {"as long in a slow tumble, from which the main can still open",
         {.phase = Phase::falling, .since_apogee_s = 30, .descent_mps = 30, .density_kg_m3 = 1.1},
         drogue_fails,
         {nominal}},
        {"ten seconds of free fall, from which no main opens whole",
         {.phase = Phase::falling, .since_apogee_s = 10, .descent_mps = 85, .density_kg_m3 = 1.1},
         no_parachute,
         {nominal, main_fails, main_at_apogee}},
        {"a charge, and the free fall goes on",
         {.phase = Phase::under_drogue,
          .since_apogee_s = 8,
          .below_second_s = -5,
          .descent_mps = 74,
          .density_kg_m3 = 1.1},
         no_parachute,
         {nominal, late_opening, main_fails, main_at_apogee}},
        {"eight seconds past apogee, as the drogue lets it sink",
         {.phase = Phase::under_drogue,
          .since_apogee_s = 8,
          .below_second_s = -20,
          .descent_mps = fast_mps,
          .density_kg_m3 = 1.1},
         nominal,
         {drogue_fails, no_parachute}},
        {"past the height of the main",
         {.phase = Phase::falling, .since_apogee_s = 30, .below_second_s = 6},
         no_parachute,
         {nominal, drogue_fails}},
        {"hangs, rate not yet steady",
         {.phase = Phase::under_drogue, .below_second_s = -20},
         nominal,
         {drogue_fails, no_parachute, late_opening}},
        {"sinks as the drogue lets it",
         {.phase = Phase::under_drogue, .below_second_s = -20, .descent_mps = fast_mps, .density_kg_m3 = 1.1},
         nominal,
         {main_at_apogee}},
        {"sinks as both let it",
         {.phase = Phase::under_drogue, .below_second_s = -20, .descent_mps = slow_mps, .density_kg_m3 = 1.1},
         main_at_apogee,
         {nominal, main_fails}},
        {"past the main's height under the drogue",
         {.phase = Phase::under_drogue, .below_second_s = 8, .descent_mps = fast_mps, .density_kg_m3 = 1.1},
         main_fails,
         {nominal}},
        {"under the main", {.phase = Phase::under_main, .below_second_s = 8}, nominal, {main_fails, no_parachute}},
    };
    for (const Row& row : table) {
        INFO(row.what);
        const auto p = case_probability(rocket, row.seen);
        CHECK(likeliest(p) == row.expected);
        CHECK(sum_of(p) == Approx(1));
        for (const LandingCaseKind kind : row.ruled_out) CHECK(p[kind] == 0);
    }
    RocketModel perfect = rocket;
    perfect.failures = {.drogue_fails = 0, .main_fails = 0, .both_fail = 0, .main_at_apogee = 0, .late_opening = 0};
    CHECK(likeliest(case_probability(perfect, {.phase = Phase::falling, .since_apogee_s = 600})) == no_parachute);
}

TEST_CASE("the probability of landing outside is the sum over the cases") {
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal;
    constexpr int kDrawn = 20000;
    int ran = 0;
    for (const auto& c : reference_cases("numerics2/cases_mixture.json", "outside_polygon")) {
        INFO(c.at("id"));
        std::vector<Eigen::Vector2d> polygon;
        for (const auto& v : c.at("inputs").at("polygon_m"))
            polygon.emplace_back(v[0].get<double>(), v[1].get<double>());
        double sum = 0;
        const auto& weights = c.at("inputs").at("weights");
        for (std::size_t k = 0; k < weights.size(); ++k) {
            const auto& m = c.at("inputs").at("means_m_east_north")[k];
            const auto& v = c.at("inputs").at("covariances_m2")[k];
            Eigen::Matrix2d covariance;
            covariance << v[0][0].get<double>(), v[0][1].get<double>(), v[1][0].get<double>(), v[1][1].get<double>();
            const Eigen::Matrix2d root = covariance.llt().matrixL();
            std::vector<Eigen::Vector3d> landings;
            for (int i = 0; i < kDrawn; ++i) {
                const double along = normal(random), across = normal(random);
                const Eigen::Vector2d off = root * Eigen::Vector2d(along, across);
                landings.emplace_back(m[0].get<double>() + off.x(), m[1].get<double>() + off.y(), 60.0);
            }
            const LandingCase found = landing_of(landings, polygon, weights[k]);
            // Rounding of the reference takes it a little past certainty.
            const double expected =
                std::clamp(c.at("expected").at("probability_outside_by_case")[k].get<double>(), 0.0, 1.0);
            // Four standard errors of the binomial, and one landing.
            CHECK(std::abs(found.outside - expected) <
                  4 * std::sqrt(expected * (1 - expected) / kDrawn) + 1.0 / kDrawn);
            CHECK(found.covariance_m2(0, 0) == Approx(covariance(0, 0)).epsilon(4 * std::sqrt(2.0 / kDrawn)));
            CHECK(found.time_s == Approx(60));
            sum += found.probability * found.outside;
        }
        CHECK(sum == Approx(c.at("expected").at("probability_outside").get<double>()).margin(0.01));
        ++ran;
    }
    CHECK(ran == 12);
    CHECK(std::isnan(landing_of({{0, 0, 1}, {1, 1, 1}}, {}, 1).outside));
}
