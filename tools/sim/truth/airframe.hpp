#pragma once
/// airframe.json: what only the simulator knows of a vehicle. Estimators never read it.
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "shared/json_reader.hpp"
#include "tools/sim/truth/fins.hpp"

namespace turnstone::sim {

/// An ejection charge as the avionics bay feels it.
struct EjectionCharge {
    double impulse_n_s; ///< newton seconds on the bay, half-sine
    double duration_s;
    double torque_impulse_n_m_s; ///< 1-sigma per axis, newton metre seconds
    double pressure_pulse_pa;    ///< peak at the barometer
    double pressure_decay_s;
};

struct Airframe {
    std::array<double, 2> inertia_dry_kg_m2;        ///< about the long axis; about any transverse axis
    std::array<double, 2> inertia_propellant_kg_m2; ///< added by a full motor
    double normal_force_slope_per_rad;
    double static_margin_m;       ///< centre of pressure behind the centre of mass
    double damping_length2_m2;    ///< pitch and yaw moment = -(rho V S / 2) * this * rate
    double roll_damping_m2;       ///< roll moment = -(rho V S / 2) * this * rate
    double roll_cant_m;           ///< roll moment = dynamic pressure * S * this
    double riser_arm_m;           ///< riser attachment ahead of the centre of mass
    double hanging_damping_n_m_s; ///< moment per rad/s while a parachute is out
    double line_stretch_s;        ///< from ejection to the parachute's mouth opening
    std::vector<double> fill_s;   ///< of each parachute, in the order of vehicle.json
    EjectionCharge ejection;
    std::optional<FinDrive> fins; ///< that can be steered
    double vibration_accel_mps2;  ///< 1-sigma at full thrust
    double vibration_rate_radps;
    double barometer_lag_s;           ///< first-order venting of the bay
    double port_pressure_coefficient; ///< static port error / dynamic pressure
    double fix_lost_above_mps2;       ///< specific force that makes the GNSS receiver lose lock
    double fix_lost_above_mps;        ///< the same for speed and for height above the pad; infinity: never
    double fix_lost_above_m;
    double clock_drift_ppm; ///< 1-sigma over vehicles; on-board clock fast when positive
    double battery_v;
};

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Airframe read_airframe(const nlohmann::json& json, const std::string& file,
                                     std::vector<Problem>& problems);

} // namespace turnstone::sim
