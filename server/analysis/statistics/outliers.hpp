#pragma once
/// Values that do not belong to the others, if the others are close to normal.
///
/// F. E. Grubbs, Technometrics 11 (1969), 1-21; B. Rosner, Technometrics 25 (1983), 165-172; as the NIST/SEMATECH
/// e-Handbook of Statistical Methods gives them, 1.3.5.17.1 and 1.3.5.17.3, whose worked examples are among the tests
/// (tests/reference/numerics2/outliers.json). Grubbs' test finds one outlier and is blind to two that hide each other;
/// the generalised extreme studentised deviate (ESD) finds several.
#include <cstddef>
#include <span>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// What the greatest distance from the mean, in standard deviations, must pass to be an outlier of `count` values at
/// the two-sided level `alpha`. NaN below three values.
[[nodiscard]] double grubbs_critical(std::size_t count, double alpha);

struct Suspect {
    std::size_t index = 0; ///< into the values as given
    double distance = kNone;
    double critical = kNone;
};

/// The value farthest from the mean of all: an outlier when its distance is above the critical one. NaN where there is
/// no test: below three values, or all alike.
[[nodiscard]] Suspect grubbs(std::span<const double> values, double alpha = 0.05);

struct ExtremeDeviates {
    std::vector<Suspect> removed;      ///< one after the other, each the farthest from the mean of what was left
    std::vector<std::size_t> outliers; ///< indices into the values as given, the farthest first
};

/// Looks for up to `most` outliers.
[[nodiscard]] ExtremeDeviates generalised_esd(std::span<const double> values, std::size_t most, double alpha = 0.05);

} // namespace turnstone::analysis
