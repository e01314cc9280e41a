// Figures of step responses against closed forms and scipy's root finding.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/analysis/signal/step_figures.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_cases;

namespace {

void same_figure(double found, const nlohmann::json& expected, double precise) {
    if (expected.is_null())
        CHECK(std::isnan(found));
    else
        CHECK(found == Approx(expected.get<double>()).epsilon(precise).margin(precise));
}

/// Unit step of the standard second-order system at rest (Ogata, ch. 5).
double second_order(double zeta, double wn, double t_s) {
    if (zeta < 1) {
        const double root = std::sqrt(1 - zeta * zeta), wd = wn * root;
        return 1 - std::exp(-zeta * wn * t_s) * (std::cos(wd * t_s) + zeta / root * std::sin(wd * t_s));
    }
    if (zeta == 1) return 1 - std::exp(-wn * t_s) * (1 + wn * t_s);
    const double root = std::sqrt(zeta * zeta - 1), slow = wn * (zeta - root), fast = wn * (zeta + root);
    return 1 - (fast * std::exp(-slow * t_s) - slow * std::exp(-fast * t_s)) / (fast - slow);
}

} // namespace

TEST_CASE("sampled responses have the figures of the same definition in scipy") {
    const auto cases = reference_cases("numerics/spectral.json", "step_sampled");
    REQUIRE(cases.size() == 4);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const auto& expected = one.at("expected");
        const auto y = inputs.at("y").get<std::vector<double>>();
        std::vector<double> t_s;
        for (std::size_t i = 0; i < y.size(); ++i)
            t_s.push_back(static_cast<double>(i) / inputs.at("fs_Hz").get<double>());
        const StepFigures found = step_figures(t_s, y, inputs.at("initial_value"), inputs.at("final_value"));
        same_figure(found.rise_s, expected.at("rise_10_90_s"), 1e-9);
        same_figure(found.t10_s, expected.at("t10_s"), 1e-9);
        same_figure(100 * found.overshoot, expected.at("overshoot_percent"), 1e-9);
        same_figure(found.peak_s, expected.at("peak_time_s"), 1e-9);
        same_figure(found.settling_2_s, expected.at("settling_2_percent_s"), 1e-9);
        CHECK((std::isnan(found.settling_2_s) || found.settling_5_s <= found.settling_2_s));
    }
}

TEST_CASE("finely sampled closed forms have their exact figures") {
    const auto cases = reference_cases("numerics/spectral.json", "step_exact");
    REQUIRE(cases.size() == 7);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const auto& expected = one.at("expected");
        std::vector<double> t_s, y;
        const double until_s = 3 * expected.at("settling_2_percent_s").get<double>();
        for (int i = 0; i <= 60000; ++i) {
            t_s.push_back(until_s * i / 60000);
            y.push_back(inputs.contains("zeta")
                            ? second_order(inputs.at("zeta"), inputs.at("wn_rad_s"), t_s.back())
                            : 1 - std::exp(-t_s.back() / inputs.at("time_constant_s").get<double>()));
        }
        const StepFigures found = step_figures(t_s, y, 0, 1);
        same_figure(found.rise_s, expected.at("rise_10_90_s"), 1e-5);
        same_figure(found.overshoot, expected.at("overshoot_percent").get<double>() / 100, 1e-5);
        same_figure(found.settling_2_s, expected.at("settling_2_percent_s"), 1e-4);
    }
}

TEST_CASE("a response that goes nowhere, or is not there, has no figures") {
    const std::vector<double> t_s{0, 1, 2}, y{0, 1, 1};
    CHECK(std::isnan(step_figures(t_s, y, 1, 1).rise_s));
    CHECK(std::isnan(step_figures({}, {}, 0, 1).overshoot));
    CHECK(std::isnan(step_figures(t_s, y, 0, 5).t90_s));
}

TEST_CASE("steps of a command are found where it rests on both sides, and a ramp is none") {
    std::vector<double> t_s, u;
    for (int i = 0; i < 1000; ++i) {
        t_s.push_back(0.01 * i);
        const double t = t_s.back();
        u.push_back((t < 2 ? 0.0 : t < 4 ? 0.05 : t < 8 ? 0.0 : 0.1 * (t - 8)) + 0.0004 * std::sin(50 * t));
    }
    const auto found = find_steps(t_s, u, 0.02, 0.1, 0.3);
    REQUIRE(found.size() == 2);
    CHECK(t_s[found[0].at] == Approx(1.99).margin(0.011));
    CHECK(found[0].after - found[0].before == Approx(0.05).margin(0.002));
    CHECK(t_s[found[1].at] == Approx(3.99).margin(0.011));
    CHECK(find_steps({}, {}, 0.02, 0.1, 0.3).empty());
}
