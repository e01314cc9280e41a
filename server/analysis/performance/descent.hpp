#pragma once
/// The drag area of all that falls, from a steady descent: the vehicle's own and its open parachutes'.
///
/// Weight is drag: v = sqrt(2 m g / (rho CdA)) at every height, so that the root of the density times the way down adds
/// up to sqrt(2 m g / CdA) times the time, whatever the density does: CdA = 2 m g (t / integral of rho^1/2 |v| dt)^2.
/// What rises and falls in the air shows as scatter between parts of the descent.
#include <cmath>
#include <string>

#include "server/analysis/performance/course.hpp"

namespace turnstone::analysis {

struct DragArea {
    double area_m2 = kNone;
    double common = 0, own = 0; ///< relative 1-sigma: of mass and air, the same for all descents of a flight; the rest
    double rate_mps = kNone;    ///< mean, downwards
    std::string why = {};       ///< there is none: why

    [[nodiscard]] Found found_m2() const { return found(area_m2, area_m2 * std::hypot(common, own)); }
};

/// What opened between two descents: `before` is what there was already.
[[nodiscard]] inline Found opened_between(const DragArea& before, const DragArea& after) {
    const double area_m2 = after.area_m2 - before.area_m2;
    const double own_m2 = std::hypot(after.area_m2 * after.own, before.area_m2 * before.own);
    return found(area_m2, std::hypot(area_m2 * after.common, own_m2));
}

/// `from_s` to `to_s`: open, and not down yet.
[[nodiscard]] DragArea drag_area(const Course& course, double from_s, double to_s, double gravity_mps2,
                                 const Masses& masses);

} // namespace turnstone::analysis
