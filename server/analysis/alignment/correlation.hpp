#pragma once
/// How alike two signals are at each shift of one against the other, where either may have gaps.
///
/// The correlation coefficient of the common part at every lag, from six products of Fourier transforms: D. Padfield,
/// Masked object registration in the Fourier domain, IEEE Transactions on Image Processing 21(5), 2012, equations 20 to
/// 23, in one dimension.
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace turnstone::analysis {

/// Values at whole multiples of a step; NaN: none.
using Grid = std::vector<double>;

/// `values` at `times_s` (ascending) on a grid from `from_s` on, by straight lines over no more than `gap_s`.
[[nodiscard]] Grid on_grid(std::span<const double> times_s, std::span<const double> values, double from_s,
                           double step_s, std::size_t points, double gap_s);

struct LagCorrelation {
    /// [k]: of fixed[i] with moved[i - (k - zero)]. NaN where fewer than `overlap_least` points are common, or either
    /// is as good as constant there.
    std::vector<double> coefficient;
    std::size_t zero; ///< the place of lag 0
};
/// `overlap_least` > 2. Of two signals of n and m points there are n + m - 1 lags.
[[nodiscard]] LagCorrelation correlate(const Grid& fixed, const Grid& moved, double overlap_least);

} // namespace turnstone::analysis
