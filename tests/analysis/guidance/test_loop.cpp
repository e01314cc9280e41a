// Margins of roll loops against mpmath's roots and a control package, and the same loops flown in time.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

#include "server/analysis/guidance/shadow.hpp"
#include "server/analysis/signal/step_figures.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;

namespace {

Law law_of(const nlohmann::json& inputs) {
    Law law;
    const auto controller = inputs.at("controller").get<std::string>();
    law.limit_rad = 1e6;
    if (controller == "state_feedback") {
        law.form = LawForm::state_feedback;
        law.state = LawState::roll_rad;
        law.angle = inputs.at("K1");
        law.rate = inputs.at("K2");
        return law;
    }
    law.state = controller == "rate_PI" ? LawState::roll_radps : LawState::roll_rad;
    law.kp = inputs.at("Kp");
    law.ki = inputs.at("Ki");
    if (inputs.contains("Kd")) {
        law.kd = inputs.at("Kd");
        law.derivative_filter_s = inputs.at("Tf");
    }
    return law;
}

AxisPlant plant_of(const nlohmann::json& inputs) {
    return {inputs.at("Lp"), inputs.at("Ld"), 0, inputs.at("tau_a"), inputs.at("delay")};
}

void same_margin(double found, const nlohmann::json& expected, double precise = 1e-6) {
    if (expected.is_null())
        CHECK(std::isnan(found));
    else
        CHECK(found == Approx(expected.get<double>()).epsilon(precise));
}

} // namespace

TEST_CASE("margins and stability are those of the reference loops") {
    const auto cases = reference_cases("numerics2/margins.json", "margins");
    REQUIRE(cases.size() == 27);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& expected = one.at("expected");
        const Margins found = loop_margins(law_of(one.at("inputs")), 1, plant_of(one.at("inputs")));
        CHECK(found.stable == expected.at("stable"));
        same_margin(found.gain, expected.at("gain_margin_factor"));
        same_margin(found.gain_less, expected.at("gain_reduction_margin_factor"));
        same_margin(found.phase_rad * 180 / std::numbers::pi, expected.at("phase_margin_deg"));
        same_margin(found.delay_s, expected.at("delay_margin_s"));
        same_margin(found.sensitivity, expected.at("max_sensitivity"));
        if (!expected.at("gain_margin_dB").is_null())
            CHECK(found.gain_db() == Approx(expected.at("gain_margin_dB").get<double>()));
    }
}

TEST_CASE("an integrator with delay has its closed form's margins") {
    const auto& one = reference_case("numerics2/margins.json", "integrator_with_delay");
    const auto& expected = one.at("expected");
    Law law;
    law.state = LawState::roll_radps;
    law.kp = 1;
    const Margins found = loop_margins(law, 1, {0, one.at("inputs").at("k"), 0, 0, one.at("inputs").at("T")});
    CHECK(found.stable);
    CHECK(found.gain == Approx(expected.at("gain_margin_factor").get<double>()));
    CHECK(found.phase_rad * 180 / std::numbers::pi == Approx(expected.at("phase_margin_deg").get<double>()));
    CHECK(found.delay_s == Approx(expected.at("delay_margin_s").get<double>()));
}

TEST_CASE("an axis that swings back is in the loop with its stiffness") {
    // A rate damper on w'' + 2 z n w' + n^2 w: any gain above zero keeps it, without delay.
    Law damper;
    damper.state = LawState::pitch_radps;
    damper.kp = 0.1;
    const AxisPlant plant{-4, 100, 225, 0, 0};
    CHECK(loop_margins(damper, 1, plant).stable);
    // Angle feedback of the wrong sign stiffer than the air: the closed form's edge is at kp Ld = -K.
    Law wrong = damper;
    wrong.state = LawState::pitch_rad;
    wrong.kp = -2.2;
    CHECK(loop_margins(wrong, 1, plant).stable);
    wrong.kp = -2.3;
    CHECK(!loop_margins(wrong, 1, plant).stable);
    Law none = damper;
    none.kp = 0;
    CHECK(loop_margins(none, 1, plant).stable);
    CHECK(!loop_margins(none, 1, {1, 100, 0, 0, 0}).stable);
}

TEST_CASE("a law flown through a plant answers a step as the continuous loop does") {
    std::size_t checked = 0;
    for (const auto& one : reference_cases("numerics2/margins.json", "margins")) {
        const auto& inputs = one.at("inputs");
        if (!one.at("expected").at("stable").get<bool>() || inputs.at("controller") == "angle_PID") continue;
        INFO(one.at("id"));
        const auto& expected = one.at("expected").at("step");
        Law law = law_of(inputs);
        law.reference = 1;
        law.period_s = 0.001;
        FlightPlant plant{inputs.at("Lp"), 0, inputs.at("Ld"), 0, 0};
        plant.reference_q_pa = plant.reference_speed_mps = 100;
        plant.drive_lag_s = inputs.at("tau_a");
        plant.drive_delay_s = inputs.at("delay");
        std::vector<double> t_s, rate, steady;
        for (int i = 0; i <= 120; ++i) {
            t_s.push_back(0.1 * i);
            rate.push_back(0);
            steady.push_back(100);
        }
        const ClosedLoop flown = fly_closed(law, plant, {0, 0}, {t_s, rate, steady, steady}, 0);
        const StepFigures step = step_figures(flown.t_s, flown.state, 0, 1);
        CHECK(step.rise_s == Approx(expected.at("rise_time_10_90_s").get<double>()).epsilon(0.02));
        CHECK(step.overshoot == Approx(expected.at("overshoot").get<double>()).margin(0.01));
        CHECK(step.settling_2_s == Approx(expected.at("settling_time_2pct_s").get<double>()).epsilon(0.05));
        ++checked;
    }
    CHECK(checked == 16);
}

TEST_CASE("a shadow's commands keep to their limits, and say how much of them they used") {
    Law law;
    law.kp = 0.1;
    law.limit_rad = 0.05;
    law.rate_limit_radps = 1;
    law.least_q_pa = 500;
    std::vector<double> t_s, rate, q_pa, speed_mps;
    for (int i = 0; i < 1000; ++i) {
        t_s.push_back(0.005 * i);
        rate.push_back(i < 500 ? 1.0 : -0.2);
        q_pa.push_back(i < 800 ? 5000 : 100);
        speed_mps.push_back(100);
    }
    const ShadowRun run = run_shadow(law, {t_s, rate, q_pa, speed_mps});
    REQUIRE(run.limited_rad.size() == t_s.size());
    for (std::size_t i = 1; i < run.limited_rad.size(); ++i) {
        CHECK(std::abs(run.limited_rad[i]) <= law.limit_rad);
        if (q_pa[i] > 500) CHECK(std::abs(run.limited_rad[i] - run.limited_rad[i - 1]) <= 0.0101);
    }
    CHECK(run.saturated_share == Approx(500.0 / 800).margin(0.01));
    CHECK(run.rate_used_share == Approx(14.0 / 800).margin(0.01));
    CHECK(run.limited_rad[700] == Approx(0.02));
    CHECK(run.limited_rad[900] == 0);
    CHECK(std::isnan(run_shadow(law, {}).saturated_share));
}

TEST_CASE("more delay and more noise than a loop bears show in its quantiles, the same each time") {
    Law law;
    law.kp = 0.0667;
    law.ki = 0.1333;
    law.limit_rad = 0.2;
    FlightPlant plant{-2, 0.1, 90, 4, 5};
    plant.reference_q_pa = 10000;
    plant.reference_speed_mps = 135;
    plant.drive_lag_s = 0.03;
    std::vector<double> t_s, rate, q_pa, speed_mps;
    for (int i = 0; i <= 800; ++i) {
        t_s.push_back(0.01 * i);
        rate.push_back(3);
        speed_mps.push_back(160 - 6 * t_s.back());
        q_pa.push_back(10000 * std::pow(speed_mps.back() / 135, 2));
    }
    const ShadowRecord record{t_s, rate, q_pa, speed_mps};
    const auto go_on = [](double) { return true; };
    const auto of = [](const std::vector<Quantiles>& all, const char* what) {
        for (const Quantiles& one : all)
            if (one.what == what) return one;
        throw std::runtime_error(what);
    };
    const auto calm = sensitivity(law, plant, {0.01, 0.005}, record, 20, go_on);
    const auto again = sensitivity(law, plant, {0.01, 0.005}, record, 20, go_on);
    CHECK(of(calm, "error_rms").q50 == of(again, "error_rms").q50);
    CHECK(of(calm, "stable").q05 == 1);
    CHECK(of(calm, "phase_margin_deg").q05 < of(calm, "phase_margin_deg").q95);
    const auto noisy = sensitivity(law, plant, {0.3, 0.005}, record, 20, go_on);
    CHECK(of(noisy, "rate_used_share").q50 >= of(calm, "rate_used_share").q50);
    CHECK(of(noisy, "error_rms").q50 > of(calm, "error_rms").q50);
    const auto late = sensitivity(law, plant, {0.01, 0.2}, record, 20, go_on);
    CHECK(of(late, "stable").q05 == 0);
    CHECK(of(late, "error_rms").q95 > 3 * of(calm, "error_rms").q95);
    CHECK(sensitivity(law, plant, {0.01, 0.005}, record, 20, [](double part) { return part < 0.3; }).empty());
}
