#pragma once
/// One finding of several tests of a charge, side by side.
#include <span>

#include "server/analysis/charge/findings.hpp"

namespace turnstone::analysis {

struct SideBySide {
    Summary all;   ///< mean and sample standard deviation
    Interval mean; ///< where the mean lies, 95 %
    Interval sd;   ///< where the standard deviation lies, 95 %
    /// The newest against the mean of the earlier ones, as the trade quotes it: their difference over their mean. Its
    /// sigma is that of a single test among those, or of the two measurements where only two were made.
    RelativeDifference newest;
    double widest = kNone; ///< greatest less least, over the mean
};

/// In the order of the tests. Those that could not say count for nothing.
[[nodiscard]] SideBySide side_by_side(std::span<const Measured> tests);

} // namespace turnstone::analysis
