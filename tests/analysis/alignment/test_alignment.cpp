// Clocks of two records of one motion.
#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <numbers>
#include <random>
#include <string>

#include <nlohmann/json.hpp>

#include "server/analysis/alignment/alignment.hpp"
#include "server/analysis/alignment/correlation.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

/// What is felt along the long axis of a small rocket: rest, thrust, coast, an ejection, a parachute.
double felt_mps2(double t_s) {
    double a = 9.8;
    const auto step = [&](double at_s, double width_s, double size) {
        a += size * 0.5 * (1 + std::tanh((t_s - at_s) / width_s));
    };
    step(10, 0.02, 90);
    step(11.8, 0.05, -108);
    a += t_s > 11.8 && t_s < 19 ? 8 * (t_s - 11.8) / 7.2 : 0; // drag fades
    a += 60 * std::exp(-0.5 * std::pow((t_s - 19) / 0.04, 2));
    step(19, 0.1, 8);
    return a;
}

struct Sampled {
    std::vector<double> t_s, value;
    [[nodiscard]] Record record() const { return {t_s, value}; }
};

/// On a clock that reads (t - zero_s) / (1 + rate).
Sampled sampled(double from_s, double to_s, double hz, double zero_s, double rate, double sigma, std::mt19937& random) {
    std::normal_distribution<double> noise(0, sigma);
    Sampled out;
    for (double t_s = from_s; t_s < to_s; t_s += 1 / hz) {
        out.t_s.push_back((t_s - zero_s) / (1 + rate));
        out.value.push_back(felt_mps2(t_s) + noise(random));
    }
    return out;
}

} // namespace

TEST_CASE("correlation at every lag is what NumPy makes of its definition, gaps and all") {
    std::mt19937 random(5);
    std::normal_distribution<double> normal;
    const auto signal = [&](std::size_t points, double offset) {
        Grid out;
        for (std::size_t i = 0; i < points; ++i)
            out.push_back(random() % 9 == 0 ? kNaN
                                            : offset + std::sin(0.2 * static_cast<double>(i)) + 0.3 * normal(random));
        return out;
    };
    const Grid fixed = signal(150, 101'325), moved = signal(90, -3); // a large mean, as pressure has
    const auto json_of = [](const Grid& grid) {
        nlohmann::json out = nlohmann::json::array();
        for (const double value : grid)
            out.push_back(std::isnan(value) ? nlohmann::json(nullptr) : nlohmann::json(value));
        return out;
    };
    const test::TemporaryFolder folder;
    const auto given = folder.write(
        "given.json",
        nlohmann::json{{"fixed", json_of(fixed)}, {"moved", json_of(moved)}, {"overlap_least", 20}}.dump());
    const auto answer = folder.path() / "lags.json";
    REQUIRE(std::system(("/usr/bin/python3 " + test::source_path("tests/analysis/alignment/lags.py").string() + " <" +
                         given.string() + " >" + answer.string())
                            .c_str()) == 0);
    const auto expected = test::read_json(answer);
    const LagCorrelation found = correlate(fixed, moved, 20);
    REQUIRE(expected.size() == found.coefficient.size());
    std::size_t values = 0;
    for (std::size_t k = 0; k < expected.size(); ++k) {
        INFO(k);
        CHECK(expected[k].is_null() == std::isnan(found.coefficient[k]));
        if (expected[k].is_null()) continue;
        ++values;
        CHECK(std::abs(found.coefficient[k] - expected[k].get<double>()) < 1e-9);
    }
    CHECK(values > 150);
}

TEST_CASE("the lag of two noisy records is found, and its sigma says how well", "[statistics]") {
    struct Case {
        const char* name;
        double fixed_hz, moved_hz, fixed_sigma, moved_sigma;
    };
    const Case each =
        GENERATE(Case{"a slow radio and a fast log", 50, 400, 1.5, 1.5},
                 Case{"a fast radio and a slow log", 200, 25, 1.0, 0.5}, Case{"alike", 100, 100, 3.0, 3.0});
    constexpr int kFlights = 120;
    double squares = 0, rate_squares = 0;
    int within = 0;
    for (int flight = 0; flight < kFlights; ++flight) {
        std::mt19937 random(7000U + static_cast<unsigned>(flight)); // widths were sized on other seeds
        std::normal_distribution<double> normal;
        const double zero_s = 40 * normal(random), rate = kRatePrior * normal(random);
        const Sampled fixed = sampled(2, 40, each.fixed_hz, 0, 0, each.fixed_sigma, random);
        const Sampled moved = sampled(0, 60, each.moved_hz, zero_s, rate, each.moved_sigma, random);
        const auto found = align(fixed.record(), moved.record());
        INFO(each.name << ", flight " << flight << (found ? "" : ": " + found.error().message));
        REQUIRE(found);
        const double at_s = found->middle_s;
        const double error_s = found->fixed_s(at_s) - (zero_s + (1 + rate) * at_s);
        const double normalised = error_s / found->lag_sigma_s;
        squares += normalised * normalised;
        within += std::abs(normalised) < 1.96 ? 1 : 0;
        rate_squares += std::pow((found->rate - rate) / found->rate_sigma, 2);
        CHECK(found->lag_sigma_s < 0.05);
    }
    INFO(each.name << ": mean square " << squares / kFlights << ", within 95 % " << within << ", of the rate "
                   << rate_squares / kFlights);
    CHECK(squares / kFlights < 1.40); // chi-square of 120 over 120: 99.5 % lie below
    CHECK(rate_squares / kFlights < 1.40);
    CHECK(within >= 107); // binomial of 120 and 0.95: 99.5 % lie above
}

TEST_CASE("no better lag is claimed than noise allows: the bound of Cramer and Rao") {
    // S. M. Kay, Fundamentals of Statistical Signal Processing, volume I, section 3.11: with white noise of variance
    // sigma^2 at steps h, var(lag) >= sigma^2 h / integral of s'(t)^2. Of s = A exp(-t^2 / (2 w^2)) that integral is
    // A^2 sqrt(pi) / (2 w).
    constexpr double kAmplitude = 10, kWidth_s = 0.5, kSigma = 0.3, kStep_s = 0.01;
    const double integral = kAmplitude * kAmplitude * std::sqrt(std::numbers::pi) / (2 * kWidth_s);
    const double bound_s = kSigma * std::sqrt(kStep_s / integral);
    std::mt19937 random(77);
    std::normal_distribution<double> noise(0, kSigma);
    Sampled clean, noisy;
    for (double t_s = -10; t_s < 10; t_s += kStep_s) {
        const double s = kAmplitude * std::exp(-t_s * t_s / (2 * kWidth_s * kWidth_s));
        clean.t_s.push_back(t_s);
        clean.value.push_back(s);
        noisy.t_s.push_back(t_s + 3);
        noisy.value.push_back(s + noise(random));
    }
    const auto found = align(clean.record(), noisy.record());
    REQUIRE(found);
    INFO(found->lag_sigma_s << " against " << bound_s);
    CHECK(std::abs(found->lag_s + 3) < 4 * found->lag_sigma_s);
    CHECK(found->lag_sigma_s > 0.7 * bound_s); // an estimate of it, from one record
    CHECK(found->lag_sigma_s < 1.5 * bound_s);
}

TEST_CASE("records that do not tell where they belong are refused, and why") {
    std::mt19937 random(3);
    const Sampled flight = sampled(0, 40, 100, 0, 0, 1, random);
    Sampled rest, noise, swing;
    for (double t_s = 0; t_s < 40; t_s += 0.01) {
        rest.t_s.push_back(t_s);
        rest.value.push_back(9.8);
        noise.t_s.push_back(t_s);
        noise.value.push_back(std::normal_distribution<double>()(random));
        swing.t_s.push_back(t_s);
        swing.value.push_back(std::sin(2 * t_s));
    }
    struct Case {
        const Sampled* fixed;
        const Sampled* moved;
        const char* says;
    };
    const Sampled few{{0, 1}, {0, 1}};
    for (const Case& each : {Case{&flight, &rest, "moves enough"}, Case{&flight, &noise, "alike nowhere"},
                             Case{&swing, &swing, "as alike"}, Case{&flight, &few, "too few"}}) {
        const auto found = align(each.fixed->record(), each.moved->record());
        INFO(each.says);
        REQUIRE(!found);
        CHECK_THAT(found.error().message, Catch::Contains(each.says));
    }
}
