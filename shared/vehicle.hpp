#pragma once
/// vehicle.json: what the ground knows about a vehicle besides its packets: mass, motor, drag, parachutes and sensor
/// noise. Schema: protocol/schema/vehicle.schema.json. A vehicle that is not a rocket (a weather station, a boat) has
/// no `rocket`.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "shared/json_reader.hpp"
#include "shared/words.hpp"

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

/// How flights differ from the description, 1-sigma; relative where no unit is named. The schema says where each
/// default comes from.
struct FlightScatter {
    double thrust = 0.05;    ///< total impulse, motor to motor
    double burn_time = 0.05; ///< at constant impulse
    double drag = 0.12;
    double mass_dry = 0.01;
    double parachute_drag_area = 0.12;
    double rail_tilt_rad = 0.02;
    double rail_azimuth_rad = 0.09;
    double opening_delay_s = 0.3; ///< of each parachute
};

/// Probabilities that one flight ends this way; what is left of 1 is a nominal descent.
struct FailureProbabilities {
    double drogue_fails = 0.05;
    double main_fails = 0.03;
    double both_fail = 0.02;
    double main_at_apogee = 0.03;
    double late_opening = 0.05;
};

struct RocketModel {
    double mass_dry_kg; ///< without propellant, ready to fly
    double mass_propellant_kg;
    Curve thrust_n; ///< against seconds since ignition; ends at zero
    double reference_area_m2;
    Curve drag_coefficient; ///< against Mach, power off
    double body_diameter_m;
    std::optional<double> length_m;        ///< nose to tail
    std::optional<double> static_margin_m; ///< centre of pressure behind the centre of mass, motor burnt out
    double rail_length_m;
    std::vector<Parachute> parachutes; ///< in order of use
    FlightScatter scatter;
    FailureProbabilities failures;
    [[nodiscard]] double total_impulse_n_s() const noexcept; ///< newton seconds, trapezoid under the thrust curve
    [[nodiscard]] double burn_time_s() const noexcept;
    [[nodiscard]] double most_thrust_mps2() const noexcept; ///< thrust over mass, where that is greatest
    /// Propellant is used in proportion to the impulse delivered.
    [[nodiscard]] double mass_kg(double seconds_since_ignition) const noexcept;
};

/// What the time of an inertial sample means. Its value is the mean over one sample interval.
enum class SampleTime : unsigned char { start, middle, end };
consteval auto words_of(SampleTime) {
    return words<SampleTime::end>("start", "middle", "end");
}

/// 1-sigma figures of the sensors as mounted; white noise per sample unless a name says otherwise.
struct SensorNoise {
    double accel_noise_mps2 = 0.3;
    double accel_bias_mps2 = 0.3;           ///< turn-on bias, 1-sigma
    double accel_bias_walk_mps2_rts = 1e-3; ///< random walk, per square root of a second
    double accel_range_mps2 = 157.0;        ///< clips at plus and minus this
    double accel_scale = 0.01;              ///< scale factor error of each axis, relative
    double accel_misalignment_rad = 0.01;   ///< of each axis from the vehicle's, mounting included
    double gyro_noise_radps = 0.005;
    double gyro_bias_radps = 0.01;
    double gyro_bias_walk_radps_rts = 1e-5;
    double gyro_range_radps = 34.9;
    double gyro_scale = 0.01;
    double gyro_misalignment_rad = 0.01;
    SampleTime imu_sample_time = SampleTime::end;
    double imu_group_delay_s = 0.0; ///< of the sensor's own filter: its samples tell of this long before their time
    double pressure_noise_pa = 5.0;
    double pressure_bias_pa = 50.0;
    double pressure_delay_s = 0.015; ///< of bay, tubing and filter
    double pressure_delay_sigma_s = 0.03;
    double port_coefficient_sigma = 0.02; ///< port error / dynamic pressure, either sign
    double pad_datum_sigma_m = 30.0;      ///< heights of fixes against the site file's datum
    double fix_horizontal_m = 2.5;
    double fix_vertical_m = 4.0;
    double fix_speed_mps = 0.2;
    double fix_correlation_s = 80.0; ///< time constant of the part of a fix's error that lasts
    double fix_correlated_share =
        0.9;                  ///< that part's fraction of the variance stated for the position; the rest is white
    double fix_delay_s = 0.1; ///< from time of validity to the packet's time
    double fix_delay_sigma_s = 0.08; ///< how far the delay of a whole flight is from that
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
