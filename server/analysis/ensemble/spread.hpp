#pragma once
/// One figure over several flights: its mean and spread, the flights that do not belong to the others, and where it
/// goes with time.
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct Outlier {
    std::size_t index = 0; ///< into the values as given
    std::string_view test; ///< "Grubbs" or "generalised ESD"
    double statistic = kNone;
    double critical = kNone;
};

struct FigureSpread {
    Summary sample;
    Interval interval;              ///< of the mean, by Student's t
    double relative_spread = kNone; ///< standard deviation over the mean's size; NaN when the mean is zero
    std::vector<Outlier> outliers;  ///< the farthest first
};

/// From this many values on several outliers are looked for, by the generalised ESD, whose limits are good from there
/// on (NIST/SEMATECH e-Handbook, 1.3.5.17.3); below it one, by Grubbs' test.
inline constexpr std::size_t kValuesForEsd = 15;

[[nodiscard]] FigureSpread spread_of(std::span<const double> values, double alpha = 0.05);

/// A straight line by least squares.
struct Trend {
    std::size_t count = 0;
    double slope = kNone, intercept = kNone; ///< from two different x on
    double residual_sd = kNone;              ///< from three points on, as the rest
    double slope_error = kNone;              ///< standard error
    Interval slope_interval;                 ///< by Student's t with count - 2 degrees of freedom
};

/// Of the pairs that are finite. Equations: N. R. Draper, H. Smith, "Applied Regression Analysis", 3rd edition 1998,
/// 1.2 to 1.4 (from memory); checked against the certified values of NIST's StRD data set Norris.
[[nodiscard]] Trend trend_of(std::span<const double> x, std::span<const double> y, double confidence = 0.95);

} // namespace turnstone::analysis
