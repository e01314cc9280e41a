#include "server/analysis/ensemble/resample.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

namespace {

/// The next of 1, 2, 5, 10, 20 ... at or above a step. Its whole number and its power of ten apart, so that times are
/// the decimal numbers that people read.
struct RoundStep {
    int digit = 1;
    int power = 0;
    [[nodiscard]] double value() const { return digit * std::pow(10.0, power); }
    void grow() {
        power += digit == 5 ? 1 : 0;
        digit = digit == 1 ? 2 : digit == 2 ? 5 : 1;
    }
};

} // namespace

std::vector<double> time_base(double from_s, double to_s, double least_step_s, std::size_t most) {
    std::vector<double> base;
    if (!(to_s > from_s) || !(least_step_s > 0) || most < 2 || !std::isfinite(to_s - from_s)) return base;
    RoundStep step{1, static_cast<int>(std::floor(std::log10(least_step_s)))};
    const auto count = [&] { return (to_s - from_s) / step.value() + 1; };
    while (step.value() < least_step_s * (1 - 1e-9) || count() > static_cast<double>(most)) step.grow();
    // By division where the step is below one: 3 / 10 is 0.3, and 3 * 0.1 is not.
    const double scale = std::pow(10.0, std::abs(step.power));
    const auto at = [&](double k) { return step.power < 0 ? k * step.digit / scale : k * step.digit * scale; };
    constexpr double kSlack = 1e-9;
    const double first = std::ceil(from_s / step.value() - kSlack);
    const double last = std::floor(to_s / step.value() + kSlack);
    for (double k = first; k <= last; ++k) base.push_back(at(k));
    return base;
}

std::vector<double> resampled(std::span<const double> t_s, std::span<const double> values,
                              std::span<const double> base_s, double bridged_s) {
    std::vector<double> out(base_s.size(), kNone);
    std::size_t after = 0; // the first sample later than the time
    for (std::size_t i = 0; i < base_s.size(); ++i) {
        const double t = base_s[i];
        while (after < t_s.size() && t_s[after] <= t) ++after;
        if (after == 0) continue;
        const std::size_t before = after - 1;
        if (t_s[before] == t) {
            out[i] = values[before];
        } else if (after < t_s.size() && t_s[after] - t_s[before] <= bridged_s) {
            const double part = (t - t_s[before]) / (t_s[after] - t_s[before]);
            out[i] = values[before] + part * (values[after] - values[before]);
        }
    }
    return out;
}

} // namespace turnstone::analysis
