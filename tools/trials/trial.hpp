#pragma once
/// One simulated flight, from the transmitter's bytes through radio, decoder, clock and all estimators, scored against
/// the simulator's truth.
///
/// The simulator (tools/sim) integrates six degrees of freedom with its own equations, rotations, air, wind,
/// parachutes and sensors; it shares physical constants and the vehicle's data with the estimators, but no model code.
/// It draws thrust, drag, mass, wind and parachutes around the vehicle file's values, which are all the estimators
/// know.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/estimate/event.hpp"
#include "server/pipeline/setup.hpp"
#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::trials {

/// Errors of one quantity, and the same in units of the 1-sigma stated with them.
struct Errors {
    double square_sum = 0, normalised_square_sum = 0, worst = 0;
    int count = 0, normalised_count = 0;

    void add(double error, double sigma);
    void add(const Errors& other);
    [[nodiscard]] double rms() const { return std::sqrt(square_sum / count); }
    /// Mean of (error / sigma)^2: 1 when the sigma fits, more when it is too small.
    [[nodiscard]] double normalised_square() const { return normalised_square_sum / normalised_count; }
};

/// Liftoff to touchdown.
inline constexpr std::array kFlightEvents{EventId::liftoff,    EventId::burnout,  EventId::apogee,
                                          EventId::drogue_out, EventId::main_out, EventId::touchdown};

struct FlightEventScore {
    bool happened = false;
    int found = 0;      ///< how often; should be once
    double error_s = 0; ///< of the first, estimate minus truth
    double sigma_s = 0;
    double delay_s = 0; ///< from the event to its announcement
};

/// When predictions are asked for.
enum class Checkpoint : unsigned char {
    on_rail,
    under_thrust,
    one_after_burnout,
    two_after_burnout,
    three_before_apogee,
    apogee,
    ten_before_touchdown
};
inline constexpr std::size_t kCheckpoints = static_cast<std::size_t>(Checkpoint::ten_before_touchdown) + 1;
[[nodiscard]] std::string to_string(Checkpoint checkpoint);

struct PredictionScore {
    double apogee_error_m = NAN; ///< prediction minus truth; NaN: none predicted
    double apogee_time_error_s = NAN;
    bool apogee_inside = false;  ///< truth in the 90 % interval
    double miss_m = NAN;         ///< from predicted to true landing point
    bool landing_inside = false; ///< truth in the 95 % ellipse
    double semi_major_m = NAN;
};

struct TrialScore {
    Errors time_stamp_s; ///< of packets' rows against the vehicle's true time
    Errors air_altitude_m, mach, dynamic_pressure_pa;
    Errors altitude_up_m, altitude_down_m, vertical_speed_up_mps, vertical_speed_down_mps;
    Errors position_up_m, position_down_m; ///< each component is one error
    Errors velocity_up_mps, velocity_down_mps;
    Errors long_axis_deg;                   ///< liftoff to apogee
    Errors azimuth_deg, elevation_deg;      ///< of the antenna, while the range exceeds 50 m
    double height_nis = NAN, fix_nis = NAN; ///< means over the flight of what navigation reports
    std::array<FlightEventScore, kFlightEvents.size()> flight_events; ///< in the order of kFlightEvents
    [[nodiscard]] const FlightEventScore& of(EventId event) const {
        return flight_events.at(static_cast<std::size_t>(std::find(kFlightEvents.begin(), kFlightEvents.end(), event) -
                                                         kFlightEvents.begin()));
    }
    std::array<PredictionScore, kCheckpoints> predictions;
    double presumed_impact_error_s = NAN; ///< when the signal was lost in flight: presumed minus true
    double true_apogee_m = NAN;
    int shocks = 0, pressure_pulses = 0, charges = 0; ///< found in acceleration, in pressure; fired
    int sensor_alerts = 0;
};

/// Deterministic. Throws std::runtime_error when the demo's files cannot be read.
[[nodiscard]] TrialScore run_trial(const sim::Scenario& scenario, std::uint64_t seed);

/// The station that receives it: one link, "radio".
[[nodiscard]] PipelineSetup trial_setup(const sim::Scenario& scenario);

/// A scenario of the demo vehicle with scattered true values; `impairment` is a name tools/sim knows
/// ("clean", "mild", "rough").
[[nodiscard]] sim::Scenario trial_scenario(const std::string& name, const std::string& impairment);

/// Flights `first` to `first + count - 1` on all cores, in the order of their seeds.
[[nodiscard]] std::vector<TrialScore> run_trials(const sim::Scenario& scenario, std::uint64_t first, int count);

} // namespace turnstone::trials
