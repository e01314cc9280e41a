#pragma once
/// When a motion changes, from heights alone: the end of thrust, the opening of a parachute.
#include <optional>
#include <vector>

#include "shared/vehicle.hpp"

namespace turnstone::estimate {

struct Bend {
    double t_s;
    double sigma_s;
};

/// Where one motion changes into another: least squares of two parabolas that meet in value and slope, over a grid of
/// break times. With `kink` the slope may jump as well: pressure at the ports follows the square of speed, so the end
/// of thrust bends heights more sharply than the motion itself. Times in seconds, ascending; needs 12 points. `sigma_s`
/// is from the curvature of the sum of squares: it covers noise, not errors of the model.
[[nodiscard]] std::optional<Bend> break_between_parabolas(const std::vector<double>& t_s, const std::vector<double>& y,
                                                          bool kink);

/// The bend of a climb: a break found in a wide window about `near_s`, then refined twice in a window around it too
/// narrow for an earlier change of thrust to matter. Give it at least a second after the bend.
[[nodiscard]] std::optional<Bend> bend_of_climb(const std::vector<double>& t_s, const std::vector<double>& height_m,
                                                double near_s);

/// Thrust fades before it ends, and the bend lies where it fades. How much later it ends, for this vehicle: its climb
/// by the thrust table, straight up through air of constant density, put through bend_of_climb(). Empty where the table
/// gives no climb.
[[nodiscard]] std::optional<double> bend_to_burnout_s(const RocketModel& rocket);

} // namespace turnstone::estimate
