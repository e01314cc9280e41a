#include "server/analysis/statistics/summary.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

double Summary::standard_error() const {
    return sd / std::sqrt(static_cast<double>(count));
}

std::vector<double> finite_values(std::span<const double> values) {
    std::vector<double> finite;
    finite.reserve(values.size());
    std::ranges::copy_if(values, std::back_inserter(finite), [](double value) { return std::isfinite(value); });
    return finite;
}

Summary summarise(std::span<const double> values) {
    Summary sample;
    double sum = 0;
    for (const double value : values)
        if (std::isfinite(value)) {
            sum += value;
            ++sample.count;
        }
    if (sample.count == 0) return sample;
    const auto count = static_cast<double>(sample.count);
    const double rough = sum / count;
    // The second pass works with differences: pressures of 100 000 Pa that differ by a pascal keep their spread.
    double rest = 0;
    double squares = 0;
    for (const double value : values)
        if (std::isfinite(value)) {
            rest += value - rough;
            squares += (value - rough) * (value - rough);
        }
    sample.mean = rough + rest / count;
    if (sample.count > 1) sample.sd = std::sqrt(std::max(0.0, squares - rest * rest / count) / (count - 1));
    return sample;
}

double median(std::span<const double> values) {
    std::vector<double> finite = finite_values(values);
    if (finite.empty()) return kNone;
    const auto middle = finite.begin() + static_cast<std::ptrdiff_t>(finite.size() / 2);
    std::ranges::nth_element(finite, middle);
    if (finite.size() % 2 == 1) return *middle;
    return 0.5 * (*middle + *std::max_element(finite.begin(), middle));
}

Interval mean_interval(const Summary& sample, double confidence) {
    if (sample.count < 2) return {};
    const StudentsT t(static_cast<double>(sample.count - 1));
    const double reach = quantile(complement(t, (1 - confidence) / 2)) * sample.standard_error();
    return {sample.mean - reach, sample.mean + reach};
}

Interval sd_interval(const Summary& sample, double confidence) {
    if (sample.count < 2) return {};
    const auto freedom = static_cast<double>(sample.count - 1);
    const ChiSquared chi(freedom);
    const double tail = (1 - confidence) / 2;
    return {sample.sd * std::sqrt(freedom / quantile(complement(chi, tail))),
            sample.sd * std::sqrt(freedom / quantile(chi, tail))};
}

RelativeDifference relative_difference(double a, double sigma_a, double b, double sigma_b, double correlation) {
    const double sum = a + b;
    if (!(std::abs(sum) > 0)) return {};
    // d(2 (a - b) / |a + b|): 4 b / sum^2 by a, -4 a / sum^2 by b, with the sign of the sum.
    const double by_a = 4 * b / (sum * sum);
    const double by_b = -4 * a / (sum * sum);
    const double variance = by_a * by_a * sigma_a * sigma_a + by_b * by_b * sigma_b * sigma_b +
                            2 * correlation * by_a * by_b * sigma_a * sigma_b;
    return {2 * (a - b) / std::abs(sum), std::sqrt(std::max(0.0, variance))};
}

} // namespace turnstone::analysis
