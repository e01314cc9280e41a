#pragma once
/// What estimators take in: measurements by role, already in the units and axes of protocol/dictionary/roles.hpp, with
/// station time. Absent values are NaN. Routing from dictionary channels to these is
/// server/pipeline/vehicle/router.hpp.
#include <cmath>
#include <cstdint>

#include <Eigen/Core>
#include <Eigen/Geometry>

#include "shared/constants.hpp"

namespace turnstone {

/// One inertial sample at its own time (batched samples come one by one). Body axes, x forward along the long axis.
struct ImuSample {
    std::int64_t t_ns;
    Eigen::Vector3d accel_body_mps2; ///< specific force; NaN components when the role is missing
    Eigen::Vector3d rate_body_radps; ///< NaN components when the role is missing
};

struct PressureSample {
    std::int64_t t_ns;
    double pressure_pa;
    double temperature_k; ///< NaN: not measured
};

/// GNSS fix. Velocity and accuracies may be NaN.
/// `t_ns` is the packet's time, some delay after the moment at which position and velocity were true.
struct FixSample {
    std::int64_t t_ns;
    double latitude_deg;
    double longitude_deg;
    double height_ellipsoid_m; ///< converted with the site's geoid height when the receiver gives mean sea level
    Eigen::Vector3d velocity_enu_mps;
    int fix_dimensions; ///< as in the NMEA 0183 GSA sentence: 1 none, 2 2-D, 3 3-D
    double accuracy_horizontal_m;
    double accuracy_vertical_m;
    int satellites;                   ///< -1: unknown
    double speed_accuracy_mps = kNaN; ///< of each axis, 1-sigma
    /// When position and velocity were true, by the receiver's own time (station time); 0: it did not say.
    std::int64_t t_valid_ns = 0;
};

/// No parachute lets a vehicle fall so slowly: it lies on the ground.
inline constexpr double kLies_mps = 2.5;
/// The 1-sigma that a vehicle file gives a fix's delay counts for this many: one that is far from what is told harms
/// more than one that is not sure, and receivers have from 0.1 to 0.3 s (common experience, no source).
inline constexpr double kFixDelayDoubt = 2.0;
/// A sensor's own filter is easily left out of what is told of it, and one that lags far more harms more than one that
/// is not sure.
inline constexpr double kPressureDelayDoubt = 2.0;

struct MagSample {
    std::int64_t t_ns;
    Eigen::Vector3d field_body_ut;
};

/// The vehicle's own estimate, for comparison only.
struct OnboardSample {
    std::int64_t t_ns;
    double phase;
    double altitude_m;
    double vertical_speed_mps;
    double speed_mps;
    Eigen::Quaterniond q_local_body; ///< NaN when not sent
};

struct WindSample {
    std::int64_t t_ns;
    double speed_mps;
    double from_deg;
};

struct EngineSample {
    std::int64_t t_ns;
    double speed_rpm;
    double temperature_k;
    double oil_pressure_pa;
};

} // namespace turnstone
