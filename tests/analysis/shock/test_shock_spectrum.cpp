// Shock response spectra against closed forms, against scipy's filter, and against an integration of the equation of
// motion that shares nothing with the filter.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "server/analysis/shock/shock_spectrum.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;

namespace {

struct Pulse {
    std::string shape;
    double amplitude;
    double duration_s;

    [[nodiscard]] double at(double t_s) const {
        if (t_s < 0 || t_s > duration_s) return 0;
        return shape == "half_sine" ? amplitude * std::sin(std::numbers::pi * t_s / duration_s)
                                    : amplitude * t_s / duration_s;
    }
    /// As the reference samples it: the sample at the pulse's end keeps its value.
    [[nodiscard]] std::vector<double> samples(double rate_hz, std::size_t count) const {
        std::vector<double> all(count);
        const auto last = static_cast<std::size_t>(std::lround(duration_s * rate_hz));
        for (std::size_t i = 0; i < count && i <= last; ++i)
            all[i] = i == last && shape == "half_sine" ? 0 : at(static_cast<double>(i) / rate_hz);
        if (last < count && shape != "half_sine") all[last] = amplitude;
        return all;
    }
};

Pulse pulse_of(const nlohmann::json& inputs) {
    return {inputs.at("pulse").get<std::string>(), inputs.at("amplitude_m_s2").get<double>(),
            inputs.at("duration_s").get<double>()};
}

std::vector<double> first_column(const nlohmann::json& rows) {
    std::vector<double> column;
    for (const auto& row : rows) column.push_back(row[0].get<double>());
    return column;
}

/// The greatest absolute acceleration of the mass by the classical Runge-Kutta method on z'' = -x - 2 d w z' - w^2 z,
/// z the mass's place relative to what carries it.
double integrated(const Pulse& pulse, double natural_hz, double q) {
    const double w = 2 * std::numbers::pi * natural_hz;
    const double damping = w / q;
    const auto bend = [&](double t, double z, double v) { return -pulse.at(t) - damping * v - w * w * z; };
    const double step = std::min(pulse.duration_s, 1 / natural_hz) / 2000;
    double z = 0;
    double v = 0;
    double greatest = 0;
    for (double t = 0; t < pulse.duration_s + 1.5 / natural_hz; t += step) {
        const double a1 = bend(t, z, v);
        const double v2 = v + 0.5 * step * a1;
        const double a2 = bend(t + 0.5 * step, z + 0.5 * step * v, v2);
        const double v3 = v + 0.5 * step * a2;
        const double a3 = bend(t + 0.5 * step, z + 0.5 * step * v2, v3);
        const double v4 = v + step * a3;
        const double a4 = bend(t + step, z + step * v3, v4);
        z += step / 6 * (v + 2 * v2 + 2 * v3 + v4);
        v += step / 6 * (a1 + 2 * a2 + 2 * a3 + a4);
        greatest = std::max(greatest, std::abs(damping * v + w * w * z));
    }
    return greatest;
}

} // namespace

TEST_CASE("the filter of a natural frequency has the coefficients of the standard's ramp-invariant form") {
    const auto& one = reference_case("numerics2/srs.json", "filter_coefficients");
    std::size_t checked = 0;
    for (const auto& row : one.at("expected").at("rows")) {
        INFO(row);
        const ShockFilter filter = shock_filter(row[0].get<double>(), row[2].get<double>(), row[1].get<double>());
        CHECK(filter.b0 == Approx(row[3].get<double>()).margin(1e-12));
        CHECK(filter.b1 == Approx(row[4].get<double>()).margin(1e-12));
        CHECK(filter.b2 == Approx(row[5].get<double>()).margin(1e-12));
        CHECK(filter.a1 == Approx(row[6].get<double>()).margin(1e-12));
        CHECK(filter.a2 == Approx(row[7].get<double>()).margin(1e-12));
        ++checked;
    }
    CHECK(checked >= 5);
}

TEST_CASE("a sampled pulse has the spectrum that scipy's filter gives") {
    const auto cases = reference_cases("numerics2/srs.json", "spectrum_ramp_invariant");
    REQUIRE(cases.size() >= 20);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const double rate_hz = inputs.at("fs_Hz").get<double>();
        const auto samples = pulse_of(inputs).samples(rate_hz, inputs.at("samples").get<std::size_t>());
        const auto& rows = one.at("expected").at("rows");
        const auto spectrum = shock_spectrum(samples, rate_hz, first_column(rows), inputs.at("Q").get<double>());
        REQUIRE(spectrum.size() == rows.size());
        for (std::size_t i = 0; i < spectrum.size(); ++i)
            CHECK(spectrum[i].maximax() == Approx(rows[i][1].get<double>()).epsilon(1e-9));
    }
}

TEST_CASE("a finely sampled pulse has the spectrum of its closed form, also when the record ends with the pulse") {
    const auto cases = reference_cases("numerics2/srs.json", "spectrum_closed_form");
    REQUIRE(cases.size() == 4);
    constexpr double kRate_hz = 50'000;
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const Pulse pulse = pulse_of(one.at("inputs"));
        const double q = one.at("inputs").at("Q").get<double>();
        const auto samples = pulse.samples(kRate_hz, static_cast<std::size_t>(pulse.duration_s * kRate_hz) + 2);
        const auto& rows = one.at("expected").at("rows");
        const auto spectrum = shock_spectrum(samples, kRate_hz, first_column(rows), q);
        // The sawtooth falls over a sample, which adds half a sample of its 550 to its area.
        const double precise = pulse.shape == "half_sine" ? 1e-4 : 2e-3;
        for (std::size_t i = 0; i < spectrum.size(); ++i) {
            INFO(spectrum[i].natural_hz << " Hz");
            CHECK(spectrum[i].maximax() == Approx(rows[i][1].get<double>()).epsilon(precise));
            CHECK(integrated(pulse, spectrum[i].natural_hz, q) == Approx(rows[i][1].get<double>()).epsilon(precise));
        }
    }
}

TEST_CASE("without damping a half-sine shakes hardest what swings in 1.24 of its durations") {
    const auto& expected = reference_case("numerics2/srs.json", "half_sine_undamped_peak").at("expected");
    const Pulse pulse{"half_sine", 1, 0.011};
    const double worst_hz = expected.at("at_fn_times_D").get<double>() / pulse.duration_s;
    const std::vector<double> around{0.97 * worst_hz, worst_hz, 1.03 * worst_hz};
    const auto spectrum = shock_spectrum(pulse.samples(100'000, 1200), 100'000, around, 1e9);
    CHECK(spectrum[1].maximax() == Approx(expected.at("largest_maximax_ratio").get<double>()).epsilon(1e-5));
    CHECK(spectrum[0].maximax() < spectrum[1].maximax());
    CHECK(spectrum[2].maximax() < spectrum[1].maximax());
}

TEST_CASE("a record with noise has the extremes of scipy's filter, or greater ones after it") {
    const auto& one = reference_case("numerics2/srs.json", "filter_noisy_sequence");
    const auto samples = one.at("inputs").at("x_m_s2").get<std::vector<double>>();
    std::size_t within = 0;
    for (const auto& [natural_hz, result] : one.at("expected").at("by_fn_Hz").items()) {
        INFO(natural_hz << " Hz");
        const auto y = result.at("y").get<std::vector<double>>();
        const double greatest = *std::ranges::max_element(y);
        const std::vector<double> natural{std::stod(natural_hz)};
        const auto spectrum = shock_spectrum(samples, one.at("inputs").at("fs_Hz").get<double>(), natural);
        // The reference stops with the record. A slow mass still swings on then.
        if (greatest > y.back()) {
            CHECK(spectrum[0].greatest == Approx(greatest).epsilon(1e-9));
            ++within;
        } else {
            CHECK(spectrum[0].greatest > greatest);
        }
    }
    CHECK(within >= 1);
}

TEST_CASE("a record says something between the inverse of its length and a tenth of its rate") {
    const auto frequencies = shock_frequencies(1000, 0.3);
    REQUIRE(frequencies.size() > 50);
    CHECK(frequencies.front() >= 1 / 0.3);
    CHECK(frequencies.back() <= 100);
    CHECK(frequencies[12] == Approx(2 * frequencies[0]));
    CHECK(std::ranges::is_sorted(frequencies));
    CHECK(shock_frequencies(10, 0.5).empty());
    CHECK(shock_frequencies(0, 1).empty());
    CHECK(shock_frequencies(1000, std::nan("")).empty());
}
