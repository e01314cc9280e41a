#include "server/analysis/shock/shock_spectrum.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace turnstone::analysis {

ShockFilter shock_filter(double natural_hz, double rate_hz, double q) {
    const double turn = 2 * std::numbers::pi * natural_hz / rate_hz; // natural frequency times the sample interval
    const double a = turn / (2 * q);
    const double k = turn * std::sqrt(1 - 1 / (4 * q * q));
    const double e = std::exp(-a);
    const double c = e * std::cos(k);
    const double s = e * std::sin(k) / k;
    return {1 - s, 2 * (s - c), e * e - s, -2 * c, e * e};
}

std::vector<ShockResponse> shock_spectrum(std::span<const double> accel, double rate_hz,
                                          std::span<const double> natural_hz, double q) {
    std::vector<ShockResponse> spectrum;
    for (const double natural : natural_hz) {
        const ShockFilter f = shock_filter(natural, rate_hz, q);
        ShockResponse response{natural, 0, 0};
        double x1 = 0;
        double x2 = 0;
        double y1 = 0;
        double y2 = 0;
        // After the record the mass swings freely and passes both extremes within a period.
        const auto after = static_cast<std::size_t>(std::ceil(rate_hz / natural)) + 2;
        for (std::size_t i = 0; i < accel.size() + after; ++i) {
            const double x = i < accel.size() ? accel[i] : 0;
            const double y = f.b0 * x + f.b1 * x1 + f.b2 * x2 - f.a1 * y1 - f.a2 * y2;
            response.greatest = std::max(response.greatest, y);
            response.least = std::min(response.least, y);
            x2 = x1;
            x1 = x;
            y2 = y1;
            y1 = y;
        }
        spectrum.push_back(response);
    }
    return spectrum;
}

std::vector<double> shock_frequencies(double rate_hz, double duration_s) {
    std::vector<double> frequencies;
    if (!(rate_hz > 0) || !(duration_s > 0) || !std::isfinite(rate_hz) || !std::isfinite(duration_s))
        return frequencies;
    constexpr double kPerOctave = 12;
    const double lowest_hz = 1 / duration_s;
    const double highest_hz = rate_hz / kShockSamplesPerPeriod;
    // Multiples of a twelfth of an octave from 1 Hz, so that two records have the frequencies in common.
    for (double step = std::ceil(kPerOctave * std::log2(lowest_hz)); std::exp2(step / kPerOctave) <= highest_hz; ++step)
        frequencies.push_back(std::exp2(step / kPerOctave));
    return frequencies;
}

} // namespace turnstone::analysis
