#pragma once
/// Several flights moment by moment: their mean, their spread, where the mean of such flights lies, and how each
/// differs from the first.
///
/// Equations: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2, applied at each moment by itself. A band of
/// such intervals covers each moment with its confidence, and the whole course with less.
#include <span>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct Ensemble {
    std::vector<double> mean;
    std::vector<double> sd;        ///< sample standard deviation; NaN where fewer than two flights have a value
    std::vector<double> low, high; ///< of the mean, by Student's t; NaN likewise
};

/// `flights` share one time base. At each moment those count that have a value there.
[[nodiscard]] Ensemble ensemble_of(std::span<const std::vector<double>> flights, double confidence = 0.95);

/// Each flight minus the first; NaN where either has no value.
[[nodiscard]] std::vector<std::vector<double>> minus_first(std::span<const std::vector<double>> flights);

} // namespace turnstone::analysis
