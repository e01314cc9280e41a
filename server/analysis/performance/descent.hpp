#pragma once
/// The drag area of a parachute, from a steady descent.
///
/// Weight is drag: v = sqrt(2 m g / (rho CdA)) at every height, so that the root of the density times the way down adds
/// up to sqrt(2 m g / CdA) times the time, whatever the density does: CdA = 2 m g (t / integral of rho^1/2 |v| dt)^2.
/// What rises and falls in the air shows as scatter between parts of the descent.
#include <string>

#include "server/analysis/performance/course.hpp"

namespace turnstone::analysis {

struct DragArea {
    Found area_m2;
    double rate_mps = kNone; ///< mean, downwards
    std::string why;         ///< there is none: why
};

/// `from_s` to `to_s`: open, and not down yet.
[[nodiscard]] DragArea drag_area(const Course& course, double from_s, double to_s, double gravity_mps2,
                                 const Masses& masses, const Doubts& doubts);

} // namespace turnstone::analysis
