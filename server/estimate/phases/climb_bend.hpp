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
/// from the curvature of the sum of squares: what noise does, not what the model lacks.
[[nodiscard]] std::optional<Bend> break_between_parabolas(const std::vector<double>& t_s, const std::vector<double>& y,
                                                          bool kink);

/// The bend of a climb: a break found in a wide window about `near_s`, then twice in a window around it that a change
/// of thrust before it hardly reaches. Give it at least a second after the bend.
[[nodiscard]] std::optional<Bend> bend_of_climb(const std::vector<double>& t_s, const std::vector<double>& height_m,
                                                double near_s);

/// Thrust fades before it ends, and the bend lies where it fades. By how much later it ends, for this vehicle: its
/// climb after the thrust table, straight up through air of constant density with its drag, put through
/// bend_of_climb(). Empty where the table gives no climb.
[[nodiscard]] std::optional<double> bend_to_burnout_s(const RocketModel& rocket);

} // namespace turnstone::estimate
