#pragma once
/// The clock of one record of a motion against that of another, from a quantity that both have: by how much, with what
/// uncertainty, and how much faster it runs.
///
/// First the lag with the greatest correlation coefficient (correlation.hpp), on a common grid. Then least squares of
/// what is left, (gain, offset, lag, rate), with the derivative of the finer record as the regressor. Both records are
/// noisy, and noise has slope too: the information is taken from the product of both records' derivatives, to which
/// independent noise adds nothing, and the variance from the residuals as they are, correlated with themselves
/// (W. K. Newey and K. D. West, Econometrica 55, 1987, 703-708, with W = n^(1/3)). Smoothing widths are tried; the one
/// with the least sigma holds.
#include <cstddef>
#include <span>

#include "shared/result.hpp"

namespace turnstone::analysis {

struct Record {
    std::span<const double> t_s; ///< ascending, on its own clock
    std::span<const double> value;
};

/// t_fixed = t_moved + lag_s + rate (t_moved - middle_s)
struct Alignment {
    double lag_s;
    double lag_sigma_s; ///< 1-sigma, at `middle_s`
    double rate;        ///< the moved clock is slow by it
    double rate_sigma;
    double middle_s;     ///< on the moved clock: of what was compared
    double correlation;  ///< at the lag
    std::size_t samples; ///< that were compared

    [[nodiscard]] double fixed_s(double moved_s) const noexcept {
        return moved_s + lag_s + rate * (moved_s - middle_s);
    }
    /// 1-sigma of fixed_s().
    [[nodiscard]] double sigma_s(double moved_s) const noexcept;
};

/// What clocks differ by before anything is known: crystals, 50 parts per million (common practice, no source).
inline constexpr double kRatePrior = 50e-6;

/// Fails with a sentence when nothing in the records tells where they belong: too short, at rest, unlike each other, or
/// alike at several places.
[[nodiscard]] Result<Alignment> align(const Record& fixed, const Record& moved);

} // namespace turnstone::analysis
