#pragma once
/// What a response to a step looks like in figures: K. Ogata, Modern Control Engineering, 5th ed., ch. 5, taken from
/// samples with straight lines between them. Checked against tests/reference/numerics/spectral.json.
#include <span>
#include <vector>

namespace turnstone::analysis {

/// NaN: the record does not show it. Times from the first sample.
struct StepFigures {
    double t10_s, t90_s;
    double rise_s;       ///< from 10 to 90 % of the way, first crossings
    double overshoot;    ///< beyond the final value, as a part of the way; 0 without one
    double peak_s;       ///< of the greatest sample
    double settling_2_s; ///< from then on within 2 % of the way
    double settling_5_s;
};

/// A response that goes from `before` to `after`; NaN throughout when the two are the same.
[[nodiscard]] StepFigures step_figures(std::span<const double> t_s, std::span<const double> value, double before,
                                       double after);

/// A step of an input: it goes to another value and rests there.
struct Step {
    std::size_t at;    ///< the last sample before it moves
    std::size_t until; ///< the last sample of its rest behind it
    double before, after;
};
/// Steps of at least `least` that take no longer than `rise_s` and rest within a fifth of that size for `rest_s` before
/// and behind.
[[nodiscard]] std::vector<Step> find_steps(std::span<const double> t_s, std::span<const double> value, double least,
                                           double rise_s, double rest_s);

} // namespace turnstone::analysis
