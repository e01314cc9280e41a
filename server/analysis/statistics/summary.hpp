#pragma once
/// A sample in a few numbers. Values that are not finite count for nothing; what a sample is too small for is NaN.
///
/// Equations: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (limits of the mean) and 1.3.5.8 (chi-square,
/// limits of the standard deviation). Checked against values of scipy, tests/reference/numerics/stats.json.
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace turnstone::analysis {

inline constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

struct Interval {
    double low = kNone;
    double high = kNone;
};

struct Summary {
    std::size_t count = 0;
    double mean = kNone;
    double sd = kNone; ///< sample standard deviation, with n - 1; from two values on

    [[nodiscard]] double variance() const { return sd * sd; }
    /// Of the mean.
    [[nodiscard]] double standard_error() const;
};

[[nodiscard]] Summary summarise(std::span<const double> values);
/// The values that count.
[[nodiscard]] std::vector<double> finite_values(std::span<const double> values);
/// The middle value, or the mean of the two middle ones.
[[nodiscard]] double median(std::span<const double> values);

/// Where the mean of what was sampled lies, by Student's t.
[[nodiscard]] Interval mean_interval(const Summary& sample, double confidence = 0.95);
/// Where its standard deviation lies, by chi-square.
[[nodiscard]] Interval sd_interval(const Summary& sample, double confidence = 0.95);

/// How far two like things differ, as the trade quotes it: their difference over their mean.
struct RelativeDifference {
    double fraction = kNone; ///< signed, of the first over the second; NaN when the mean is zero
    double sigma = kNone;
};

/// `sigma_a` and `sigma_b` are standard uncertainties; `correlation` of the two errors is 1 when one scale weighed both
/// and its error is all there is. Propagation: JCGM 100:2008 (GUM), 5.2.2.
[[nodiscard]] RelativeDifference relative_difference(double a, double sigma_a, double b, double sigma_b,
                                                     double correlation = 0);

} // namespace turnstone::analysis
