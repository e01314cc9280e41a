#pragma once
/// How probable each landing case is: the vehicle file's failures, by Bayes' rule with what the descent has shown.
///
/// Seen are: how long no parachute has opened, how far below its height the second has not, and once the vehicle hangs,
/// how fast it sinks. A parachute that works opens within its delay's scatter and is recognised kRecognised_s later; a
/// late first one opens after an exponential delay of kLate_s more. Descent rates tell which parachutes carry, or that
/// none does, with a scatter of kRateScatter (a parachute swings, and its size is measured by hand). The faster it
/// falls, the less probable it is that the second parachute would hold. Pure functions.
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// Mean of what a late first parachute takes longer; exponential. Common practice, no source.
inline constexpr double kLate_s = 5.0;

struct DescentSeen {
    Phase phase = Phase::on_rail;
    double since_apogee_s = 0; ///< 0: unknown
    double below_second_s = 0; ///< since it passed the second parachute's height; negative or 0: not yet
    double descent_mps = 0;    ///< some time after the phase began; 0: unknown
    double density_kg_m3 = 0;  ///< where it is
    double gravity_mps2 = 9.80665;
};

/// Sums to one. A case that what is seen rules out has zero.
[[nodiscard]] ByLandingCase<double> case_probability(const RocketModel& rocket, const DescentSeen& seen);

/// The largest; the first of equals.
[[nodiscard]] LandingCaseKind likeliest(const ByLandingCase<double>& probability);

} // namespace turnstone::estimate
