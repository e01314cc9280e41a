#include "server/analysis/identify/verdict.hpp"

#include <cmath>
#include <numbers>

#include <fmt/format.h>

namespace turnstone::analysis {

Verdict judge(const Fit& fit, double damping_half_width, double effect_half_width, double input_moves,
              double input_least) {
    constexpr double kDegrees = 180 / std::numbers::pi;
    if (fit.residuals.size() == 0)
        return {false, "not identifiable: fin deflection, body rate and dynamic pressure are nowhere known together"};
    if (fit.residuals.size() <= fit.estimate.size())
        return {false, fmt::format("not identifiable: {} values for {} parameters", fit.residuals.size(),
                                   fit.estimate.size())};
    if (!(input_moves > input_least))
        return {false, fmt::format("not identifiable: no excitation; the fins move {:.3f} deg rms, at least {:.3f} deg "
                                   "are needed",
                                   kDegrees * input_moves, kDegrees * input_least)};
    if (!(fit.condition <= kConditionMost))
        return {false,
                fmt::format("not identifiable: the fins follow the rate (condition number {:.0f}, at most {:.0f} "
                            "counts); let them move by themselves",
                            fit.condition, kConditionMost)};
    const double effect = effect_half_width / std::abs(fit.estimate[1]);
    if (!(effect <= kEffectWidthMost))
        return {false,
                fmt::format("not identifiable: too little excitation; the 95 % half-width of the fins' effect is "
                            "{:.0f} % of it, at most {:.0f} % counts",
                            100 * effect, 100 * kEffectWidthMost)};
    const double damping = damping_half_width / std::abs(fit.estimate[0]);
    if (!(damping <= kDampingWidthMost))
        return {false,
                fmt::format("not identifiable: too little excitation; the 95 % half-width of the damping is {:.0f} "
                            "% of it, at most {:.0f} % counts",
                            100 * damping, 100 * kDampingWidthMost)};
    return {true, ""};
}

} // namespace turnstone::analysis
