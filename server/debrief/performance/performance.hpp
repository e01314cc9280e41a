#pragma once
/// What a flight shows of its vehicle: drag against Mach number, thrust and total impulse, the parachutes' drag areas
/// and when they opened, beside what the vehicle's file says, and a corrected file.
///
/// Speeds are the smoothed ones (server/debrief/smoothing) against the wind as it was known in the end; density is the
/// recorded estimates', as far off as the day's air may be. Mass is that of the vehicle's mass record where every part
/// has been weighed, else of vehicle.json with its scatter.
///
/// Answer: "performance" of protocol/STREAM.md.
#include <map>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/analysis/performance/course.hpp"
#include "server/analysis/performance/descent.hpp"
#include "server/analysis/performance/drag.hpp"
#include "server/analysis/performance/thrust.hpp"
#include "server/debrief/advance.hpp"
#include "server/debrief/recordings.hpp"
#include "shared/result.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::debrief {

/// All that is asked of a flight. Times in seconds since liftoff; NaN: did not happen, or was not seen.
struct PerformanceRecord {
    analysis::Course course;
    analysis::AxialForce axial;
    double burnout_s = analysis::kNone, apogee_s = analysis::kNone, touchdown_s = analysis::kNone;
    double apogee_sigma_s = analysis::kNone;
    std::vector<double> parachute_out_s, parachute_out_sigma_s; ///< by parachute
};

struct ParachuteFound {
    analysis::Found area_m2;
    double rate_mps = analysis::kNone; ///< of the descent under it
    std::string why;                   ///< there is no area: why
    analysis::Found opening_s;         ///< from what releases it, apogee or its height, to when it came out
};

struct Performance {
    analysis::DragCurve drag;
    analysis::ThrustCurve thrust;
    std::vector<ParachuteFound> parachutes;
};

[[nodiscard]] Performance performance_of(const PerformanceRecord& record, const RocketModel& rocket,
                                         const SensorNoise& sensors, double gravity_mps2,
                                         const analysis::Masses& masses);

/// As vehicle.json says, with its scatter.
[[nodiscard]] analysis::Masses masses_of(const RocketModel& rocket);

/// `vehicle_json` with what was found in its place; what was not stays.
[[nodiscard]] nlohmann::json corrected_vehicle(const nlohmann::json& vehicle_json, const RocketModel& rocket,
                                               const Performance& found);

[[nodiscard]] Result<nlohmann::json> performance(const Recordings& recordings, const nlohmann::json& request,
                                                 const Advance& advance);

} // namespace turnstone::debrief
