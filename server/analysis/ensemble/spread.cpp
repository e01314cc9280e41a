#include "server/analysis/ensemble/spread.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/statistics/distribution.hpp"
#include "server/analysis/statistics/outliers.hpp"

namespace turnstone::analysis {

namespace {

/// Values of which more than a fifth are outliers are two groups.
constexpr std::size_t kValuesPerOutlier = 5;

} // namespace

FigureSpread spread_of(std::span<const double> values, double alpha) {
    FigureSpread out;
    out.sample = summarise(values);
    out.interval = mean_interval(out.sample, 1 - alpha);
    if (out.sample.mean != 0) out.relative_spread = out.sample.sd / std::abs(out.sample.mean);
    if (out.sample.count < kValuesForEsd) {
        const Suspect suspect = grubbs(values, alpha);
        if (suspect.distance > suspect.critical)
            out.outliers.push_back({suspect.index, "Grubbs", suspect.distance, suspect.critical});
        return out;
    }
    const ExtremeDeviates deviates = generalised_esd(values, out.sample.count / kValuesPerOutlier, alpha);
    for (std::size_t i = 0; i < deviates.outliers.size(); ++i) {
        const Suspect& suspect = deviates.removed[i];
        out.outliers.push_back({suspect.index, "generalised ESD", suspect.distance, suspect.critical});
    }
    return out;
}

Trend trend_of(std::span<const double> x, std::span<const double> y, double confidence) {
    std::vector<double> xs, ys;
    for (std::size_t i = 0; i < std::min(x.size(), y.size()); ++i)
        if (std::isfinite(x[i]) && std::isfinite(y[i])) {
            xs.push_back(x[i]);
            ys.push_back(y[i]);
        }
    Trend out;
    out.count = xs.size();
    if (out.count < 2) return out;
    const double x_mean = summarise(xs).mean, y_mean = summarise(ys).mean;
    double squares = 0, products = 0;
    for (std::size_t i = 0; i < out.count; ++i) {
        squares += (xs[i] - x_mean) * (xs[i] - x_mean);
        products += (xs[i] - x_mean) * (ys[i] - y_mean);
    }
    if (!(squares > 0)) return out;
    out.slope = products / squares;
    out.intercept = y_mean - out.slope * x_mean;
    if (out.count < 3) return out;
    double residual_squares = 0;
    for (std::size_t i = 0; i < out.count; ++i) {
        const double residual = ys[i] - y_mean - out.slope * (xs[i] - x_mean);
        residual_squares += residual * residual;
    }
    const auto freedom = static_cast<double>(out.count - 2);
    out.residual_sd = std::sqrt(residual_squares / freedom);
    out.slope_error = out.residual_sd / std::sqrt(squares);
    const double reach = quantile(complement(StudentsT(freedom), (1 - confidence) / 2)) * out.slope_error;
    out.slope_interval = {out.slope - reach, out.slope + reach};
    return out;
}

} // namespace turnstone::analysis
