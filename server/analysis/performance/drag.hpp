#pragma once
/// The drag coefficient against Mach number, from the coast after burnout.
///
/// While nothing but air acts along the axis, -m f = q S Cd(M) - m b, with f the specific force along the axis, q the
/// dynamic pressure and b the accelerometer's bias, which shows where q is small, before apogee. Cd is linear between
/// nodes of the Mach number; nodes and bias are found together by least squares (JCGM 100:2008 (GUM), 5.1 and
/// H.3 for the line's own uncertainty) over means of kBlock_s. Their sigma has the scatter of the residuals, widened by
/// what neighbouring ones have in common, and what is the same throughout a flight: mass, scale, density, speed.
#include <string>
#include <vector>

#include "server/analysis/performance/course.hpp"

namespace turnstone::analysis {

struct DragCurve {
    std::vector<double> mach, cd, sigma, low, high; ///< 95 %
    double bias_mps2 = kNone;
    std::string why; ///< there is none: why
};

/// `from_s` to `to_s`: thrust is over, and no parachute is out.
[[nodiscard]] DragCurve drag_curve(const Course& course, const AxialForce& axial, double from_s, double to_s,
                                   double reference_area_m2, const Masses& masses, const Doubts& doubts);

} // namespace turnstone::analysis
