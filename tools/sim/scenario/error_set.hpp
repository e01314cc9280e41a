#pragma once
/// What real sensors, days and airframes do that their description leaves out.
///
/// A set is nature's side: its sizes are written here and nowhere else. What the crew believes, and estimators work
/// with, stands in vehicle.json and site.json. The estimators are tuned on "tuning" and accepted on "acceptance", whose
/// distributions, sizes and time constants differ; in "ideal" every error is of the kind a filter likes best: white,
/// of exactly the stated size, at exactly the stated delay.
#include <optional>
#include <string_view>

#include "tools/sim/truth/random.hpp"

namespace turnstone::sim {

/// Of what is drawn once for a flight; mean 0, variance 1.
enum class Shape : unsigned char {
    normal,  ///< cut at 3 sigma
    uniform, ///< to 1.73 sigma
    student  ///< five degrees of freedom, cut at 5 sigma
};
[[nodiscard]] double draw(Random& random, Shape shape);
/// With the mean and variance of a uniform distribution between the bounds; never below zero.
[[nodiscard]] double draw_between(Random& random, Shape shape, double low, double high);

/// Flight and day, 1-sigma; relative where no unit is named.
struct FlightErrors {
    double thrust;          ///< total impulse
    double thrust_tilt = 0; ///< of the thrust curve: more at the start, less at the end, at constant impulse
    double burn_time;       ///< at constant impulse
    double drag;
    double drag_power_on = 1; ///< factor while the motor burns: its exhaust fills the base (common practice, no source)
    double mass;
    double rail_tilt_rad;
    double rail_azimuth_rad;
    double thrust_offset_rad;
    double wind_speed;
    double wind_speed_mps = 0; ///< added to each layer's components, correlated over some 500 m
    double wind_from_rad;
    double wind_turn_rad_per_km = 0; ///< more at greater heights
    double gustiness = 1;            ///< factor, not a sigma
    double pad_pressure_pa;
    double pad_temperature_k;
    double lapse_k_per_m;
    double cant;
    double cant_m = 0; ///< added, of either sign
    double static_margin;
    double parachute_area;
    double delay_s;
    double fill;
};

/// Accelerometer and rate sensor, 1-sigma for each axis; noise, bias and ranges are those of vehicle.json.
struct InertialErrors {
    double accel_scale = 0;
    double accel_misalignment_rad = 0;
    double accel_mps2_per_k = 0; ///< drift with the die's temperature since switch-on
    double gyro_scale = 0;
    double gyro_misalignment_rad = 0;
    double gyro_radps_per_k = 0;
    double scale_per_k = 0;
    double rectification_s2_per_m = 0; ///< steady accelerometer error / square of the vibration
};

struct BarometerErrors {
    std::optional<double> port; ///< 1-sigma of port error / dynamic pressure; absent: the airframe's own
    double lag = 0;             ///< of the bay, relative, at least a fifth of it is left
    double filter_low_s = 0;    ///< time constant of the sensor's own filter, about between these
    double filter_high_s = 0;
};

/// Steered fins, 1-sigma: of their effect and of what measures them.
struct FinErrors {
    double effect = 0;  ///< relative
    double damping = 0; ///< of the roll damping that the airframe's file gives, relative
    double scale = 0;   ///< of the measured deflection
    double bias_rad = 0;
};

struct ReceiverErrors {
    double size = 1; ///< true error / stated accuracy
    double correlation_s = 0;
    double correlated_share = 0; ///< of the variance; the rest is white
    Shape white = Shape::normal;
    double delay_low_s = 0; ///< added to the file's, about between these
    double delay_high_s = 0;
    double delay_jitter_s = 0; ///< 1-sigma from fix to fix
    double datum_m = 0;        ///< 1-sigma of a constant in height
    double relock_m = 0;       ///< the first fix after a loss under acceleration is off by about this
    double relock_mps = 0;
    double relock_decay_s = 1;
    double relock_told = 0; ///< fraction of it that the receiver's accuracy admits
};

struct ErrorSet {
    std::string_view name;
    std::string_view summary;
    Shape shape = Shape::normal;   ///< of everything but
    Shape bounded = Shape::normal; ///< what lies between two bounds, and the port error
    FlightErrors flight;
    InertialErrors inertial;
    BarometerErrors barometer;
    ReceiverErrors receiver;
    FinErrors fins{};
};

[[nodiscard]] const ErrorSet& ideal_errors();
/// "ideal", "tuning" or "acceptance".
[[nodiscard]] std::optional<ErrorSet> error_set_from_name(std::string_view name);

} // namespace turnstone::sim
