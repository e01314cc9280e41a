// Fits and their intervals against statsmodels and scipy, and what has to be refused.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <random>

#include "server/analysis/identify/verdict.hpp"
#include "server/analysis/statistics/summary.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;

namespace {

Eigen::VectorXd vector_of(const nlohmann::json& numbers) {
    const auto values = numbers.get<std::vector<double>>();
    return Eigen::Map<const Eigen::VectorXd>(values.data(), static_cast<Eigen::Index>(values.size()));
}

/// Roll rate, deflection and, where the case has it, a constant; scaled by speed in the scaled case.
Eigen::MatrixXd regressors_of(const nlohmann::json& inputs) {
    Eigen::VectorXd p = vector_of(inputs.at("p_rad_s")), fin = vector_of(inputs.at("delta_rad"));
    if (inputs.contains("speed_m_s")) {
        const Eigen::VectorXd v = vector_of(inputs.at("speed_m_s"));
        p = p.cwiseProduct(v);
        fin = fin.cwiseProduct(v).cwiseProduct(v);
    }
    const bool offset = inputs.contains("regressors") && inputs.at("regressors").size() == 3;
    Eigen::MatrixXd x(p.size(), offset ? 3 : 2);
    x.col(0) = p;
    x.col(1) = fin;
    if (offset) x.col(2).setOnes();
    return x;
}

Verdict verdict_of(const Fit& fit, const Eigen::VectorXd& fin) {
    const std::vector<double> fins(fin.data(), fin.data() + fin.size());
    const double moves = summarise(fins).sd;
    const double quantile = fit.quantile();
    const bool known = fit.covariance.size() > 0;
    return judge(fit, known ? quantile * fit.sigma(0) : kNone, known ? quantile * fit.sigma(1) : kNone, moves, 1e-6);
}

void check_regression(const Fit& fit, const nlohmann::json& expected) {
    for (Eigen::Index i = 0; i < fit.estimate.size(); ++i) {
        const auto k = static_cast<std::size_t>(i);
        CHECK(fit.estimate[i] == Approx(expected.at("estimate")[k].get<double>()).epsilon(1e-9));
        CHECK(fit.sigma(i) == Approx(expected.at("standard_error")[k].get<double>()).epsilon(1e-9));
        CHECK(fit.estimate[i] - fit.quantile() * fit.sigma(i) ==
              Approx(expected.at("ci95_low")[k].get<double>()).epsilon(1e-9));
        CHECK(fit.estimate[i] + fit.quantile() * fit.sigma(i) ==
              Approx(expected.at("ci95_high")[k].get<double>()).epsilon(1e-9));
    }
    CHECK(fit.residual_sd == Approx(expected.at("residual_sd").get<double>()).epsilon(1e-9));
    CHECK(fit.condition == Approx(expected.at("condition_number_of_scaled_regressors").get<double>()).epsilon(1e-6));
}

} // namespace

TEST_CASE("regressions have the estimates, intervals and condition numbers of statsmodels") {
    std::size_t checked = 0;
    for (const char* kind : {"ols_acceleration", "ols_acceleration_scaled", "ols_hac"})
        for (const auto& one : reference_cases("numerics/sysid.json", kind)) {
            INFO(one.at("id"));
            const auto& inputs = one.at("inputs");
            const Fit fit = linear_fit(regressors_of(inputs), vector_of(inputs.at("p_dot_radps2")));
            check_regression(fit, one.at("expected"));
            CHECK(verdict_of(fit, vector_of(inputs.at("delta_rad"))).identifiable);
            ++checked;
        }
    CHECK(checked == 5);
    const auto& discrete = reference_case("numerics/sysid.json", "discrete_regression");
    const Eigen::VectorXd p = vector_of(discrete.at("inputs").at("p_rad_s"));
    const Eigen::VectorXd fin = vector_of(discrete.at("inputs").at("delta_rad"));
    Eigen::MatrixXd x(p.size() - 1, 2);
    x << p.head(p.size() - 1), fin.head(p.size() - 1);
    check_regression(linear_fit(x, p.tail(p.size() - 1)), discrete.at("expected").at("regression"));
}

TEST_CASE("residuals that resemble their neighbours widen the intervals as Newey and West have it") {
    const auto& one = reference_case("numerics/sysid.json", "coloured_residuals");
    const auto& expected = one.at("expected");
    const Fit fit = linear_fit(regressors_of(one.at("inputs")), vector_of(one.at("inputs").at("p_dot_radps2")));
    const Eigen::MatrixXd covariance = robust_covariance(fit, expected.at("hac_lags").get<Eigen::Index>());
    for (Eigen::Index i = 0; i < 2; ++i)
        CHECK(std::sqrt(covariance(i, i)) ==
              Approx(expected.at("hac_standard_error_bartlett")[static_cast<std::size_t>(i)].get<double>())
                  .epsilon(1e-8));
}

TEST_CASE("what cannot be told is refused, with the figure that decides") {
    const std::map<std::string, std::string> reasons{{"no_deflection", "no excitation"},
                                                     {"pure_rate_feedback", "condition number"},
                                                     {"too_little_excitation", "half-width"},
                                                     {"too_few_samples", "2 values for 2 parameters"}};
    const auto cases = reference_cases("numerics/sysid.json", "not_identifiable");
    REQUIRE(cases.size() == reasons.size());
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const Fit fit = linear_fit(regressors_of(inputs), vector_of(inputs.at("p_dot_radps2")));
        const Verdict verdict = verdict_of(fit, vector_of(inputs.at("delta_rad")));
        CHECK(!verdict.identifiable);
        INFO(verdict.why);
        CHECK(verdict.why.find(reasons.at(one.at("id"))) != std::string::npos);
    }
}

TEST_CASE("a simulation fitted to a noisy rate has scipy's estimates and standard errors") {
    const auto& one = reference_case("numerics/sysid.json", "output_error");
    const auto& inputs = one.at("inputs");
    const Eigen::VectorXd measured = vector_of(inputs.at("p_rad_s")), fin = vector_of(inputs.at("delta_rad"));
    const double dt = inputs.at("dt_s");
    const auto left = [&](const Eigen::VectorXd& by) {
        Eigen::VectorXd out(measured.size());
        const double kept = std::exp(by[0] * dt);
        double p = by[3];
        for (Eigen::Index k = 0; k < measured.size(); ++k) {
            out[k] = measured[k] - p;
            p = kept * p + (kept - 1) / by[0] * (by[1] * fin[k] + by[2]);
        }
        return out;
    };
    const Fit fit = fit_model(left, Eigen::Vector4d(-2, 150, 0, measured[0]), Eigen::Vector4d(1, 100, 1, 0.1));
    const auto& expected = one.at("expected");
    CHECK(fit.converged);
    for (Eigen::Index i = 0; i < 4; ++i) {
        const auto k = static_cast<std::size_t>(i);
        CHECK(fit.estimate[i] == Approx(expected.at("estimate")[k].get<double>()).epsilon(1e-5));
        CHECK(fit.sigma(i) == Approx(expected.at("standard_error")[k].get<double>()).epsilon(1e-3));
    }
}

TEST_CASE("a damped oscillation has the frequency and damping that scipy fits, noisy or not") {
    const auto cases = reference_cases("numerics/spectral.json", "damped_oscillation");
    REQUIRE(cases.size() == 5);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const Eigen::VectorXd x = vector_of(one.at("inputs").at("x"));
        const auto& truth = one.at("inputs").at("truth");
        const auto& expected = one.at("expected");
        const double rate_hz = one.at("inputs").at("fs_Hz");
        // Amplitude, decay, angular frequency, phase, offset.
        const auto left = [&](const Eigen::VectorXd& by) {
            Eigen::VectorXd out(x.size());
            for (Eigen::Index k = 0; k < x.size(); ++k) {
                const double t_s = static_cast<double>(k) / rate_hz;
                out[k] = x[k] - by[4] - by[0] * std::exp(-by[1] * t_s) * std::cos(by[2] * t_s + by[3]);
            }
            return out;
        };
        Eigen::VectorXd start(5), scale(5);
        const double wn = truth.at("natural_frequency_rad_s"), zeta = truth.at("damping_ratio");
        start << 0.8 * truth.at("amplitude").get<double>(), 1.2 * zeta * wn, 1.02 * wn, 0.1, truth.at("offset");
        scale << 1, 1, 1, 1, 1;
        const Fit fit = fit_model(left, start, scale);
        const double found_wn = std::hypot(fit.estimate[1], fit.estimate[2]);
        const bool noisy = truth.at("noise_sd") > 0;
        CHECK(found_wn ==
              Approx(expected.at("fit").at("natural_frequency_rad_s").get<double>()).epsilon(noisy ? 1e-5 : 1e-6));
        CHECK(fit.estimate[1] / found_wn ==
              Approx(expected.at("fit").at("damping_ratio").get<double>()).epsilon(noisy ? 1e-5 : 1e-6));
        if (!noisy) continue;
        const auto& errors = expected.at("fit_standard_errors");
        CHECK(std::abs(found_wn - wn) < 3 * errors.at("natural_frequency_rad_s").get<double>());
        const Eigen::Vector2d slope(fit.estimate[1] / found_wn, fit.estimate[2] / found_wn);
        CHECK(std::sqrt(slope.dot(fit.covariance.block<2, 2>(1, 1) * slope)) ==
              Approx(errors.at("natural_frequency_rad_s").get<double>()).epsilon(1e-3));
    }
}

TEST_CASE("the 95 % interval of a regression holds the truth in 95 of 100 cases") {
    const auto& bounds =
        reference_case("numerics/sysid.json", "coverage").at("expected").at("binomial_95_bounds_for_300");
    std::mt19937_64 engine(7);
    std::normal_distribution<double> normal;
    int held = 0;
    for (int repeat = 0; repeat < 300; ++repeat) {
        Eigen::MatrixXd x(120, 2);
        Eigen::VectorXd y(120);
        for (Eigen::Index i = 0; i < x.rows(); ++i) {
            x.row(i) << std::sin(0.1 * static_cast<double>(i)), (i / 15) % 2 == 0 ? 1.0 : -1.0;
            y[i] = -2.5 * x(i, 0) + 18 * x(i, 1) + 0.5 * normal(engine);
        }
        const Fit fit = linear_fit(x, y);
        held += std::abs(fit.estimate[0] + 2.5) <= fit.quantile() * fit.sigma(0) ? 1 : 0;
    }
    CHECK(held >= bounds[0].get<double>() * 300);
    CHECK(held <= bounds[1].get<double>() * 300);
}
