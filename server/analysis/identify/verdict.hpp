#pragma once
/// Whether data say enough of a pair of parameters to print them, and which figure decides.
///
/// Refused are: no more values than parameters; an input that stays still; inputs that move alike (the condition number
/// of the scaled regressors, Klein and Morelli, ch. 5: collinear); intervals as wide as what they are about. The limits
/// are common practice, no source.
#include <string>

#include "server/analysis/identify/least_squares.hpp"

namespace turnstone::analysis {

inline constexpr double kConditionMost = 1000;
/// 95 % half-width over the value: of the effect of the fins, and of the damping.
inline constexpr double kEffectWidthMost = 0.5, kDampingWidthMost = 1.0;

struct Verdict {
    bool identifiable = false;
    std::string why; ///< when it is not
};

/// Parameters 0 (damping) and 1 (effect of the fins) of a fit. `input_moves`: standard deviation of the deflection in
/// radians; below `input_least` it counts as still.
[[nodiscard]] Verdict judge(const Fit& fit, double damping_half_width, double effect_half_width, double input_moves,
                            double input_least);

} // namespace turnstone::analysis
