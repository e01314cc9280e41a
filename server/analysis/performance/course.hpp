#pragma once
/// What drag, motor and parachutes are found from: how a vehicle moved, what it weighed, and how far its sensors may be
/// off.
#include <cstddef>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// The motion, all columns against one ascending time since liftoff; NaN where it is not known.
struct Course {
    std::vector<double> t_s;
    std::vector<double> altitude_m, altitude_sigma_m;
    std::vector<double> up_mps, up_sigma_mps;               ///< vertical speed
    std::vector<double> speed_mps, speed_sigma_mps;         ///< against the air
    std::vector<double> density_kg_m3, density_sigma, mach; ///< the sigma relative
};

/// 1-sigma of the air's own rise or fall over what lasts as long as a flight's parts: MIL-F-8785C, 3.7.3.3 (from
/// memory) has a tenth of the wind at 20 ft, here 4 m/s. It shows in no other measurement.
constexpr double kAirRises_mps = 0.4;

/// Specific force along the axis, forwards: each value is the mean since the one before.
struct AxialForce {
    std::vector<double> t_s, force_mps2;
};

/// 1-sigma.
struct Masses {
    double dry_kg = kNone, dry_sigma_kg = kNone; ///< ready to fly, without propellant
    double propellant_kg = kNone, propellant_sigma_kg = 0;
};

/// 1-sigma of what an accelerometer is off by for a whole flight.
struct Doubts {
    double bias_mps2 = 0.3;
    double scale = 0.01;
    double range_mps2 = 157;
};

/// A value with its 1-sigma and its 95 % interval.
struct Found {
    double value = kNone, sigma = kNone;
    Interval interval;
};

/// By the normal distribution.
[[nodiscard]] inline Found found(double value, double sigma) {
    constexpr double kReach = 1.959963984540054; // 0.975
    return {value, sigma, {value - kReach * sigma, value + kReach * sigma}};
}

} // namespace turnstone::analysis
