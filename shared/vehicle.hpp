#pragma once
/// vehicle.json: what the ground knows about a vehicle besides its packets: mass, motor, drag, parachutes and sensor
/// noise. Schema: protocol/schema/vehicle.schema.json. A vehicle that is not a rocket (a weather station, a boat) has
/// no `rocket`.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "shared/json_reader.hpp"

namespace turnstone {

/// Points (x ascending), linear interpolation between them, the end values beyond.
struct Curve {
    std::vector<double> x;
    std::vector<double> y;
    [[nodiscard]] double at(double x_value) const noexcept;
};

struct Parachute {
    std::string name;                      ///< "drogue", "main"
    double drag_area_m2;                   ///< Cd * A
    std::optional<double> opens_below_m{}; ///< above the pad, on the way down; absent: opens at apogee
    double opens_after_s = 0.0;            ///< from there to ejection
};

struct RocketModel {
    double mass_dry_kg; ///< without propellant, ready to fly
    double mass_propellant_kg;
    Curve thrust_n; ///< against seconds since ignition; ends at zero
    double reference_area_m2;
    Curve drag_coefficient; ///< against Mach, power off
    double body_diameter_m;
    double rail_length_m;
    std::vector<Parachute> parachutes;                       ///< in order of use
    [[nodiscard]] double total_impulse_n_s() const noexcept; ///< newton seconds, trapezoid under the thrust curve
    [[nodiscard]] double burn_time_s() const noexcept;
    /// Propellant is used in proportion to the impulse delivered.
    [[nodiscard]] double mass_kg(double seconds_since_ignition) const noexcept;
};

/// 1-sigma figures of the sensors as mounted; white noise per sample unless a name says otherwise.
struct SensorNoise {
    double accel_noise_mps2 = 0.3;
    double accel_bias_mps2 = 0.3;           ///< turn-on bias, 1-sigma
    double accel_bias_walk_mps2_rts = 1e-3; ///< random walk, per square root of a second
    double accel_range_mps2 = 157.0;        ///< clips at plus and minus this
    double gyro_noise_radps = 0.005;
    double gyro_bias_radps = 0.01;
    double gyro_bias_walk_radps_rts = 1e-5;
    double gyro_range_radps = 34.9;
    double pressure_noise_pa = 5.0;
    double pressure_bias_pa = 50.0;
    double fix_horizontal_m = 2.5;
    double fix_vertical_m = 4.0;
    double fix_speed_mps = 0.2;
    double fix_delay_s = 0.1; ///< from time of validity to the packet's time
    double mag_noise_ut = 1.0;
};

struct Vehicle {
    std::string name;
    std::optional<RocketModel> rocket;
    SensorNoise sensors;
    double engine_running_threshold_rpm = 300.0; ///< an engine counts as running above this
};

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Vehicle read_vehicle(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems);

} // namespace turnstone
