// Spectra against scipy's, and intervals by how often they hold the truth.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "server/analysis/signal/spectra.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_case;
using turnstone::test::reference_cases;
using turnstone::test::reference_rows;

namespace {

std::vector<double> column_of(const std::string& file, std::size_t column) {
    std::vector<double> out;
    for (const auto& row : reference_rows("numerics/" + file)) out.push_back(row.at(column));
    return out;
}

WelchPlan plan_of(const nlohmann::json& inputs) {
    const auto window = inputs.at("window").get<std::string>();
    const bool density = inputs.value("scaling", "density") == "density";
    return {inputs.at("nperseg").get<std::size_t>(), inputs.at("noverlap").get<std::size_t>(),
            window.starts_with("hann")  ? Window::hann
            : window.starts_with("ham") ? Window::hamming
                                        : Window::rectangle,
            Detrend::mean, density ? Scaling::density : Scaling::power};
}

Density density_of(const std::vector<double>& values, double rate_hz, const WelchPlan& plan) {
    const std::array<std::span<const double>, 1> runs{values};
    return density(runs, rate_hz, plan);
}

Spectra spectra_of(const std::vector<double>& x, const std::vector<double>& y, double rate_hz, const WelchPlan& plan) {
    const std::array<RunPair, 1> runs{RunPair{x, y}};
    return cross_spectra(runs, rate_hz, plan);
}

/// y = x passed through 0.2 / (1 - 0.8 z^-1), with noise on it.
struct FilteredNoise {
    std::vector<double> x, y;
    FilteredNoise(std::size_t count, double noise, std::uint64_t seed) : x(count), y(count) {
        std::mt19937_64 engine(seed);
        std::normal_distribution<double> normal;
        double state = 0;
        for (std::size_t i = 0; i < count; ++i) {
            x[i] = normal(engine);
            state = 0.8 * state + 0.2 * x[i];
            y[i] = state + noise * normal(engine);
        }
    }
    static std::complex<double> truth(double f_hz, double rate_hz) {
        return 0.2 / (1.0 - 0.8 * std::polar(1.0, -2 * std::numbers::pi * f_hz / rate_hz));
    }
};

} // namespace

TEST_CASE("densities are those of scipy, whatever window, length, overlap and scaling") {
    const auto cases = reference_cases("numerics/spectral.json", "welch_psd");
    REQUIRE(cases.size() == 8);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const auto& expected = one.at("expected");
        const Density found = density_of(column_of("spectral_xy.csv", 1), inputs.at("fs_Hz"), plan_of(inputs));
        const auto values = expected.at("P").get<std::vector<double>>();
        CHECK(found.segments == expected.at("segments"));
        REQUIRE(found.value.size() == values.size());
        const double floor = 1e-12 * *std::ranges::max_element(values);
        for (std::size_t k = 0; k < values.size(); ++k)
            CHECK(found.value[k] == Approx(values[k]).epsilon(1e-9).margin(floor));
        CHECK(found.f_hz[1] == Approx(expected.at("df_Hz").get<double>()));
    }
}

TEST_CASE("cross-spectrum, coherence and response are those of scipy") {
    const auto& one = reference_case("numerics/spectral.json", "cross_hann_256_128");
    const auto& expected = one.at("expected");
    const Spectra found = spectra_of(column_of("spectral_xy.csv", 1), column_of("spectral_xy.csv", 2),
                                     one.at("inputs").at("fs_Hz"), plan_of(one.at("inputs")));
    const auto response = frequency_response(found);
    REQUIRE(response.size() == expected.at("f_Hz").size());
    for (std::size_t k = 0; k < response.size(); ++k) {
        const std::complex<double> xy(expected.at("Pxy_re")[k], expected.at("Pxy_im")[k]);
        CHECK(std::abs(found.xy[k] - xy) < 1e-9 * std::abs(xy));
        CHECK(response[k].coherence == Approx(expected.at("coherence")[k].get<double>()).epsilon(1e-8));
        const std::complex<double> h1(expected.at("H1_re")[k], expected.at("H1_im")[k]);
        CHECK(std::abs(std::polar(response[k].gain, response[k].phase_rad) - h1) < 1e-8 * std::abs(h1));
    }
}

TEST_CASE("a chirp through a second-order system shows its response, and the error that Bendat and Piersol give") {
    for (const auto& one : reference_cases("numerics/spectral.json", "frequency_response")) {
        INFO(one.at("id"));
        const auto& inputs = one.at("inputs");
        const auto& expected = one.at("expected");
        const auto u = column_of("spectral_frf.csv", 1);
        const auto y = column_of("spectral_frf.csv", inputs.at("output") == "y_clean" ? 2 : 3);
        const auto response = frequency_response(spectra_of(u, y, inputs.at("fs_Hz"), plan_of(inputs)));
        const double apart = static_cast<double>(u.size()) / inputs.at("nperseg").get<double>();
        std::size_t checked = 0;
        for (const ResponsePoint& point : response) {
            if (point.f_hz < 0.5 || point.f_hz > 18) continue;
            const std::complex<double> h1(expected.at("H1_re")[checked], expected.at("H1_im")[checked]);
            CHECK(std::abs(std::polar(point.gain, point.phase_rad) - h1) < 1e-8 * std::abs(h1));
            CHECK(point.coherence == Approx(expected.at("coherence")[checked].get<double>()).epsilon(1e-8));
            CHECK(response_error(point.coherence, apart) ==
                  Approx(expected.at("relative_standard_error_magnitude")[checked].get<double>()).epsilon(1e-4));
            ++checked;
        }
        CHECK(checked == expected.at("f_Hz").size());
    }
}

TEST_CASE("a sine on a bin has half its amplitude squared there and nothing elsewhere") {
    std::vector<double> x(256);
    for (std::size_t k = 0; k < x.size(); ++k)
        x[k] = 2 * std::sin(2 * std::numbers::pi * 16 * static_cast<double>(k) / 256 + 0.7);
    const Density found = density_of(x, 256, {256, 0, Window::rectangle, Detrend::none});
    CHECK(found.value[16] == Approx(2.0).epsilon(1e-12));
    for (std::size_t k = 0; k < found.value.size(); ++k)
        if (k != 16) CHECK(found.value[k] < 1e-25);
    CHECK(found.averages == 1);
}

TEST_CASE("the intervals of density, gain and phase hold the truth in about 95 of 100 cases") {
    constexpr double kRate_hz = 100;
    int density_held = 0, gain_held = 0, phase_held = 0, count = 0;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        const FilteredNoise signals(2048, 0.15, seed);
        const Spectra spectra = spectra_of(signals.x, signals.y, kRate_hz, {128, 64});
        const auto response = frequency_response(spectra);
        for (std::size_t k = 3; k < 60; k += 8) {
            const auto truth = FilteredNoise::truth(response[k].f_hz, kRate_hz);
            const Interval white = density_interval(spectra.xx[k], spectra.averages);
            density_held += white.low <= 2 / kRate_hz && 2 / kRate_hz <= white.high ? 1 : 0;
            gain_held +=
                response[k].gain_interval.low <= std::abs(truth) && std::abs(truth) <= response[k].gain_interval.high
                    ? 1
                    : 0;
            const double half = 0.5 * (response[k].phase_interval_rad.high - response[k].phase_interval_rad.low);
            const double off = std::arg(std::polar(1.0, response[k].phase_rad) / truth);
            phase_held += std::isnan(half) || std::abs(off) <= half ? 1 : 0;
            ++count;
        }
    }
    CHECK(density_held >= 0.92 * count);
    CHECK(density_held <= 0.98 * count);
    CHECK(gain_held >= 0.92 * count);
    CHECK(gain_held <= 0.98 * count);
    CHECK(phase_held >= 0.92 * count);
    CHECK(phase_held <= 0.98 * count);
}

TEST_CASE("unrelated signals are significant in one case of twenty, and one segment says nothing") {
    int significant = 0, count = 0;
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        const FilteredNoise one(1024, 0, seed), other(1024, 0, seed + 1000);
        for (const ResponsePoint& point : frequency_response(spectra_of(one.x, other.x, 1, {64, 0, Window::hann}))) {
            if (point.f_hz <= 0.02 || point.f_hz >= 0.48) continue;
            significant += point.significant ? 1 : 0;
            ++count;
        }
    }
    CHECK(significant > 0.03 * count);
    CHECK(significant < 0.07 * count);
    const FilteredNoise signals(128, 0.1, 1);
    for (const ResponsePoint& point : frequency_response(spectra_of(signals.x, signals.y, 1, {128, 0}))) {
        CHECK(!point.significant);
        CHECK(std::isnan(point.gain_interval.low));
    }
}

TEST_CASE("segments stay inside their runs, and what is too short for one gives nothing") {
    const FilteredNoise signals(700, 0.1, 3);
    const std::span<const double> x(signals.x), y(signals.y);
    const std::array<RunPair, 3> runs{RunPair{x.first(300), y.first(300)},
                                      RunPair{x.subspan(300, 100), y.subspan(300, 100)},
                                      RunPair{x.subspan(400), y.subspan(400)}};
    CHECK(cross_spectra(runs, 1, {128, 64}).segments == 3 + 0 + 3);
    CHECK(cross_spectra(runs, 1, {512, 256}).f_hz.empty());
    CHECK(frequency_response(cross_spectra(runs, 1, {512, 256})).empty());
    CHECK(plan_for(5).length == 0);
    CHECK(plan_for(4096).length >= 512);
    CHECK(cross_spectra({}, 1, {128, 64}).segments == 0);
}

TEST_CASE("a spectrogram shows when a tone is there") {
    std::vector<double> x(2000);
    for (std::size_t i = 1000; i < x.size(); ++i) x[i] = std::sin(2 * std::numbers::pi * 0.25 * static_cast<double>(i));
    const std::array<PlacedRun, 1> runs{PlacedRun{5.0, x}};
    const Spectrogram found = spectrogram(runs, 100, {100, 50});
    REQUIRE(found.t_s.size() == 39);
    CHECK(found.t_s.front() == Approx(5.0 + 0.495));
    for (std::size_t k = 0; k < found.t_s.size(); ++k) {
        const bool there = found.t_s[k] > 15.5;
        if (there) CHECK(found.density[k][25] > 0.1);
        if (found.t_s[k] < 14.4) CHECK(found.density[k][25] < 1e-20);
    }
}
