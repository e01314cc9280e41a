#pragma once
/// What to simulate: a vehicle, a site, a course of events, and the scatter of a seeded flight.
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "shared/result.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"
#include "tools/sim/radio/impairment.hpp"
#include "tools/sim/scenario/error_set.hpp"
#include "tools/sim/truth/airframe.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

inline constexpr double kPressurePeriod_s = 0.040; ///< of the demo's barometer

/// What the vehicle measures and sends, and how often. The demo's own packets need the figures given here; with others
/// each kind of measurement is a packet of its own, in plain floating point.
struct Telemetry {
    double imu_hz = 200.0; ///< 200 divided by a whole number, as the next two; 0: none
    double pressure_hz = 1.0 / kPressurePeriod_s;
    double fix_hz = 5.0;
    std::size_t batch = 4;     ///< inertial samples in a packet
    bool lateral = true;       ///< all three axes of the accelerometer, otherwise the long one
    bool rates = true;         ///< turn rates
    bool triads_apart = false; ///< accelerometer and turn rates in separate packets
    bool velocity = true;      ///< of fixes
    double fins_hz = 0.0;      ///< of commanded and measured deflections, as the others; 0: none
    bool operator==(const Telemetry&) const = default;
};

/// What becomes of the barometer at the first ejection.
enum class BarometerFault : unsigned char {
    none,
    dead,   ///< its readings are zero
    stuck,  ///< it repeats its last conversion
    offset, ///< it reads 250 Pa more
    noisy   ///< six times the noise
};

/// What becomes of the inertial sensor then.
enum class InertialFault : unsigned char {
    none,
    gyro_dead,      ///< its rates are zero
    noisy,          ///< four times the noise
    accel_inverted, ///< its accelerations have the other sign
    accel_offset,   ///< it reads 2.5 m/s2 more along the body, across gravity for a vehicle that lies
    accel_dead,     ///< its accelerations are zero
    stuck,          ///< all axes repeat their last readings
};

inline constexpr double kFinsRate_hz = 100.0; ///< of the demo vehicle that steers

/// A deflection of one axis for a while, and back.
struct FinPulse {
    double after_liftoff_s;
    double lasts_s;
    Eigen::Index axis; ///< 0 roll, 1 pitch, 2 yaw
    double deflection_rad;
};

/// What tells the fins where to go. Nothing while the vehicle is on the rail, or from the first charge on.
struct Steering {
    std::vector<FinPulse> pulses; ///< of a logging flight; later ones of an axis stand over earlier ones
    nlohmann::json law;           ///< of protocol/schema/law.schema.json, flown closed loop; null: none
};
/// Doublets of roll, pitch and yaw, and a step of roll, in the seconds after a motor of `burn_s` has burnt out.
[[nodiscard]] Steering logging_flight(double burn_s);

struct Scenario {
    std::string name;
    std::string summary;
    Vehicle vehicle; ///< data only: the simulator uses none of its functions
    Site site;
    Airframe airframe;
    RunKind kind = RunKind::flight;
    double before_ignition_s = 20.0;
    double after_touchdown_s = 15.0;
    bool leaves_rail = true;
    bool disperse = false; ///< draw the flight's true values around the vehicle file's
    double drogue_late_s = 0.0;
    double datum_offset_m = 0.0;     ///< heights of fixes above the site file's
    double barometer_filter_s = 0.0; ///< at least this much of the sensor's own filter
    double spin_hz =
        0.0; ///< 0: by the airframe's fins; otherwise they are canted to spin it about this fast at its fastest
    bool charges_fire = true;
    bool reboots_at_ejection = false;
    double boot_s = 1.8; ///< nothing is sent for this long when the electronics start again
    bool gnss_lost_at_liftoff = false;
    BarometerFault barometer_at_ejection = BarometerFault::none;
    InertialFault inertial_at_ejection = InertialFault::none;
    ChargeFault charge_fault = ChargeFault::none;
    bool gap_at_ejection = false;       ///< nothing is received from 0.2 s before the first charge fires to 0.5 s after
    std::optional<Steering> steering{}; ///< absent: fins, if the airframe has any that turn, stay where they are
    ErrorSet errors = ideal_errors();
    Telemetry telemetry;
    Impairment impairment;
    std::vector<Impairment> further_receivers; ///< that listen too
};

struct ScenarioName {
    std::string_view name;
    std::string_view summary;
};
[[nodiscard]] std::vector<ScenarioName> scenario_names();

/// Reads vehicle.json and airframe.json in `vehicle_dir` and the site file, and sets up the named course of
/// events.
[[nodiscard]] Result<Scenario> make_scenario(std::string_view name, const std::filesystem::path& vehicle_dir,
                                             const std::filesystem::path& site_file);

/// The true values of one flight. The same scenario and seed give the same bits.
[[nodiscard]] FlightSetup make_setup(const Scenario& scenario, std::uint64_t seed);

} // namespace turnstone::sim
