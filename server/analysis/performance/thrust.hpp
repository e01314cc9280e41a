#pragma once
/// The motor's thrust and total impulse, from the boost.
///
/// T = m (k f - b) + q S Cd with the propellant used in proportion to the impulse delivered. A motor shakes an
/// accelerometer, which rectifies part of that: k is what makes the force add up to the speed gained, the vertical one
/// at burnout, which heights and fixes after it show better than the accelerometer does. Drag while the motor burns is
/// kPowerOn of what it is after it, since the exhaust fills the base; by how much is not known of a vehicle (common
/// practice, no source). Burn time is from 5 % of the greatest thrust to 5 % (as NFPA 1125 has it, from memory).
#include <string>
#include <vector>

#include "server/analysis/performance/course.hpp"

namespace turnstone::analysis {

struct DragTable {
    std::vector<double> mach, cd;
    double sigma = 0; ///< relative
};

struct ThrustCurve {
    std::vector<double> t_s, thrust_n, sigma_n;
    Found impulse_n_s;
    double burn_s = kNone;
    double axial_factor = kNone; ///< k
    std::string why;             ///< there is none: why
};

/// `burnout_s` since liftoff.
[[nodiscard]] ThrustCurve thrust_curve(const Course& course, const AxialForce& axial, double burnout_s,
                                       double gravity_mps2, double reference_area_m2, const DragTable& drag,
                                       const Masses& masses, const Doubts& doubts);

} // namespace turnstone::analysis
