#pragma once
/// The course that the vehicle's and the site's files promised on the rail: the flight that predictions are made of
/// (server/estimate/prediction/trajectories.hpp), flown once with the values of the files, in the day's air at the pad
/// and in the wind that was in use there.
///
/// Its 1-sigma at each moment is that of the files' scatter of thrust, burn time, drag, mass, lean of the rail,
/// parachutes and opening delays, each flown by itself at one sigma and added in squares (JCGM 100:2008 (GUM), 5.1.2:
/// independent parts, to first order). How far the wind is from the forecast is not in it: it moves a landing by
/// hundreds of metres and a height by few.
#include <optional>
#include <vector>

#include "server/debrief/flights/open_flight.hpp"
#include "server/estimate/air/air_data.hpp"
#include "server/estimate/air/wind_profile.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::debrief {

struct PredictedCourse {
    std::vector<double> t_s; ///< since ignition
    std::vector<double> altitude_m, altitude_sigma_m;
    std::vector<double> vertical_speed_mps, vertical_speed_sigma_mps;
    double burnout_s, apogee_s;
    std::optional<double> drogue_out_s; ///< empty: the vehicle has no parachute
};

/// `air` and `wind`: of the day, as they are known on the rail.
[[nodiscard]] PredictedCourse course_by_files(const RocketModel& rocket, const Site& site,
                                              const estimate::DayAtmosphere& air, const estimate::WindProfile& wind);

/// Empty for a vehicle other than a rocket, and where the recording's files cannot be read by this version.
[[nodiscard]] std::optional<PredictedCourse> predicted_course(OpenFlight& flight);

/// The same files flown again in the wind that was in use when the vehicle was down, measured while it drifted. What a
/// flight still differs from it is the vehicle's or the rail's.
[[nodiscard]] std::optional<PredictedCourse> simulated_course(OpenFlight& flight);

} // namespace turnstone::debrief
