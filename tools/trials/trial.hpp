#pragma once
/// One simulated flight, from the transmitter's bytes through radio, decoder, clock and all estimators, scored against
/// the simulator's truth.
///
/// The simulator (tools/sim) integrates six degrees of freedom with its own equations, rotations, air, wind,
/// parachutes and sensors; it shares physical constants and the vehicle's data with the estimators, but no model code.
/// It draws thrust, drag, mass, wind, parachutes and the errors of sensors by the scenario's error set around the
/// vehicle file's values, which are all the estimators know. Seeds below 1000 with the set "tuning" are for tuning,
/// seeds from 5000 with the set "acceptance" for judging; nobody tunes on the latter.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <type_traits>
#include <vector>

#include "server/estimate/event.hpp"
#include "server/pipeline/setup.hpp"
#include "tools/sim/scenario/scenario.hpp"
#include "tools/sim/truth/truth.hpp"

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
    bool asked = false;          ///< the flight came that far
    double apogee_error_m = NAN; ///< prediction minus truth; NaN: none predicted
    double apogee_time_error_s = NAN;
    bool apogee_inside = false;  ///< truth in the 90 % interval
    double miss_m = NAN;         ///< from predicted to true landing point
    bool landing_inside = false; ///< truth in the 95 % ellipse
    double semi_major_m = NAN;
};

/// What is compared with the truth, row by row.
enum class Quantity : unsigned char {
    air_altitude,
    mach,
    dynamic_pressure,
    altitude,
    vertical_speed,
    east_north, ///< position; each component is one error
    up,
    velocity_east_north,
    velocity_up,
    long_axis,
    azimuth, ///< of the antenna, while the range exceeds 50 m
    elevation
};
inline constexpr std::size_t kQuantities = static_cast<std::size_t>(Quantity::elevation) + 1;
struct QuantityText {
    const char* name;
    const char* unit;
    const char* format; ///< of its errors
    [[nodiscard]] std::string title() const { return *unit == 0 ? name : std::string(name) + ", " + unit; }
};
[[nodiscard]] const QuantityText& text_of(Quantity quantity);

/// Of one quantity in one phase of the truth.
struct Tally {
    Errors errors;
    double covered_s = 0; ///< an estimate not older than it may be was there
    double lasted_s = 0;  ///< the phase
    void add(const Tally& other);
    [[nodiscard]] double available() const { return covered_s / lasted_s; }
};

inline constexpr std::size_t kTruePhases = static_cast<std::size_t>(sim::TruePhase::down) + 1;

/// What a lamp of the estimators' own health said, row by row, from liftoff to touchdown.
struct HealthTally {
    int rows = 0, consistent = 0, conservative = 0, overconfident = 0; ///< the last with "do not trust"
    void add(const HealthTally& other);
};
enum class Lamp : unsigned char { vertical, fixes, heights };
inline constexpr std::size_t kLamps = 3;

struct TrialScore {
    Errors time_stamp_s; ///< of packets' rows against the vehicle's true time
    std::array<std::array<Tally, kTruePhases>, kQuantities> tallies;
    std::array<HealthTally, kLamps> lamps;
    [[nodiscard]] Tally of(Quantity quantity, std::span<const sim::TruePhase> phases) const;
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
    /// First in flight: an error beyond kHarm of its stated 1-sigma; a lamp or an alert that says so. NaN: never.
    double harmed_s = NAN, warned_s = NAN;
    static constexpr double kHarm = 5;
    /// While fixes had been coming for a second: how long that was, and how long of it there was a position.
    double with_fixes_s = 0, placed_s = 0;
    int predictions_in_flight = 0;
    double oldest_prediction_s = NAN; ///< of these: from the state that it starts from to its being shown
    double cpu_s = 0;                 ///< of the simulator and the station together; the only score that chance moves
};
/// Slices of a table are kept as they are in memory (slices.hpp).
static_assert(std::is_trivially_copyable_v<TrialScore>);

/// Deterministic but for cpu_s. Throws std::runtime_error when the demo's files cannot be read.
///
/// Rounds of predictions are flown at the checkpoints alone; the others take their place in time and give rows without
/// figures, which shows when they would have come and costs nothing.
[[nodiscard]] TrialScore run_trial(const sim::Scenario& scenario, std::uint64_t seed);

/// The station that receives it: one link, "radio".
[[nodiscard]] PipelineSetup trial_setup(const sim::Scenario& scenario);

/// A scenario of the demo vehicle with scattered true values; `impairment` and `errors` are names that tools/sim knows
/// ("clean", "mild", "rough"; "ideal", "tuning", "acceptance").
[[nodiscard]] sim::Scenario trial_scenario(const std::string& name, const std::string& impairment,
                                           const std::string& errors = "ideal");

/// Flights `first` to `first + count - 1` on all cores, in the order of their seeds.
[[nodiscard]] std::vector<TrialScore> run_trials(const sim::Scenario& scenario, std::uint64_t first, int count);

} // namespace turnstone::trials
