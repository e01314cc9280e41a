#pragma once
/// What a comparison of two samples could have seen: a test that found nothing says little when it could have found
/// nothing but a great deal.
///
/// Two-sided t test of two normal samples of equal spread, by the noncentral t distribution: J. Cohen, "Statistical
/// Power Analysis for the Behavioral Sciences", 2nd edition, 1988, chapter 2 (from memory); checked against scipy and
/// statsmodels, tests/reference/numerics2/power.json.
#include <cstddef>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// The probability that the test at level `alpha` finds a difference of `effect` standard deviations.
[[nodiscard]] double power_of_t_test(double effect, std::size_t count_a, std::size_t count_b, double alpha = 0.05);

/// The least difference, in standard deviations, that is found with probability `power`. NaN when a sample has less
/// than two values.
[[nodiscard]] double least_detectable_effect(std::size_t count_a, std::size_t count_b, double alpha = 0.05,
                                             double power = 0.8);

/// The least shift in a plane, in standard deviations of each of its two axes, whose length is measured beyond
/// `critical` of them with probability `power`: by the noncentral chi-squared distribution, Cohen's chapter 7 (from
/// memory). Beyond sqrt(-2 ln alpha) chance alone comes with the probability alpha.
[[nodiscard]] double least_detectable_in_plane(double critical, double power = 0.8);

} // namespace turnstone::analysis
