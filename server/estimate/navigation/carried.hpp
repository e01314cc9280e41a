#pragma once
/// States carried on from their newest measurement to a later time: where a radio sends many samples in a packet, or a
/// fade takes some, a second may lie between.
#include <cstdint>

#include <Eigen/Core>

#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/translation/translation_state.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"

namespace turnstone::estimate {

/// Accelerations of small rockets: thrust, drag after burnout, what swings under a parachute.
[[nodiscard]] Manoeuvre manoeuvre_of(Motion motion);

struct CarriedNavigation {
    NavigationEstimate estimate;            ///< position, velocity, attitude's sigmas as of then; all else as it was
    Eigen::Matrix<double, 6, 6> covariance; ///< of position and velocity, east-north-up, m and m/s
};

/// `t_ns`: not before the newest inertial sample. Thrust and drag last: on the way up the acceleration last felt fades
/// to the manoeuvre's mean as Singer's process does. What swings does not: elsewhere it goes on with that mean, and the
/// manoeuvre's sigma is that of a constant error of it.
[[nodiscard]] CarriedNavigation carried_to(std::int64_t t_ns, const Navigation& navigation, Motion motion);

/// By its own speed and acceleration, as sure of it as it is of those.
[[nodiscard]] VerticalEstimate carried_to(std::int64_t t_ns, const VerticalEstimate& vertical);

} // namespace turnstone::estimate
