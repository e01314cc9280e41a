#pragma once
/// The true history of a run at the rate of the inertial sensor. Sensors are modelled from it, and tests compare with
/// it.
#include <cstdint>
#include <functional>
#include <string_view>
#include <vector>

#include "tools/sim/truth/flight_model.hpp"

namespace turnstone::sim {

inline constexpr double kTruthStep_s = 0.005; ///< one inertial sample

enum class TruePhase : unsigned char {
    on_the_rail,
    on_the_stand,
    under_thrust,
    coasting,
    falling,
    under_drogue,
    under_main,
    down
};
[[nodiscard]] std::string_view to_string(TruePhase phase);

/// Truth at `t_s`, seconds from the start of the run. Specific force and body rate are means over the step
/// that ends at `t_s`, so that their sums are exact velocity and angle increments.
struct TruthSample {
    double t_s;
    Eigen::Vector3d position_enu_m; ///< centre of mass, from its place on the pad
    Eigen::Vector3d velocity_enu_mps;
    Eigen::Quaterniond q_local_body;
    Eigen::Vector3d rate_body_radps;
    Eigen::Vector3d specific_force_body_mps2;
    Eigen::Vector3d wind_enu_mps;
    double mass_kg;
    double thrust_fraction; ///< of the greatest thrust
    double pressure_pa;     ///< of the undisturbed air
    double temperature_k;
    double mach;
    double dynamic_pressure_pa;
    double bay_over_pa;   ///< what a tethered test's charges add to the pressure at the barometer
    double battery_sag_v; ///< what they take from the battery
    TruePhase phase;
    Eigen::Vector3d fin_rad = Eigen::Vector3d::Zero();         ///< deflections about body x, y, z
    Eigen::Vector3d fin_command_rad = Eigen::Vector3d::Zero(); ///< the newest command
};

/// One millisecond of a firing: acceleration and turn rate are means over the one that ends at `t_s`.
struct FiringSample {
    double t_s;
    double axial_mps2;      ///< specific force
    double turn_rate_radps; ///< about body y
    double bay_over_pa;
    double battery_sag_v;
    double current_a; ///< through the igniter
};

/// A charge of a tethered test. Times after `t_s`, when its current begins; NaN: did not happen.
struct Firing {
    double t_s;
    std::size_t parachute;
    double pulse_begins_s;
    double lid_off_s;
    double line_taut_s;
    std::vector<FiringSample> samples; ///< from 50 ms before to 250 ms after
};

struct Truth {
    std::vector<TruthSample> samples;
    FlightEvents events;
    std::vector<Firing> firings; ///< of a tethered test
    bool destroyed = false;      ///< hit the ground too fast for the electronics; samples end there
};

enum class RunKind : unsigned char {
    flight,
    tethered ///< lying on a stand, nose on a cord; the charges fire, nothing flies
};

/// What is told the fins after a sample, once a sample.
using FinCommand = std::function<Eigen::Vector3d(const TruthSample&)>;

/// Runs until `after_touchdown_s` after touchdown (or after the last charge of a tethered test), or until `duration_s`
/// when nothing leaves the rail. `steer` may be empty.
[[nodiscard]] Truth run_truth(const FlightSetup& setup, RunKind kind, double after_touchdown_s, double duration_s,
                              const FinCommand& steer = {});

} // namespace turnstone::sim
