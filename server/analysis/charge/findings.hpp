#pragma once
/// What the record around the firing of an ejection charge holds, and what is found in it.
#include <array>
#include <cstddef>
#include <vector>

#include "server/analysis/charge/signal.hpp"
#include "server/analysis/charge/survival.hpp"

namespace turnstone::analysis {

/// All times in seconds from one zero, which the caller chooses close by. Whatever a vehicle does not measure is empty.
struct ChargeRecord {
    double fired_s = kNone; ///< as the evidence has it
    double fired_sigma_s = kNone;
    double until_s = kNone; ///< the record ends
    // Kept at a high rate around the firing.
    Signal current_a, bay_pa, burst_axial_mps2, burst_turn_radps, burst_battery_v;
    // As always.
    Signal pressure_pa;
    std::array<Signal, 3> accel_mps2, rate_radps; ///< body axes
    Signal battery_v, temperature_k;
    double accel_range_mps2 = kNone, gyro_range_radps = kNone;
    std::vector<double> heard_s; ///< times of all readings that came as always, in order
    double packets_lost = kNone;
    double restarts = 0;
};

struct Measured {
    double value = kNone; ///< NaN: the record cannot say
    double sigma = kNone;
};

/// Whether something happened: 1 yes, 0 no, NaN: the record cannot say.
using Seen = double;
inline constexpr Seen kYes = 1, kNo = 0;

/// Times are seconds after the firing; values that are not of a time are in SI units.
struct ChargeFindings {
    double fired_s = kNone; ///< the zero of the record; what the row is dated by
    double fired_sigma_s = kNone;
    Seen in_flight = kNone;  ///< of a flight, not of a test: the watch knows, the record does not
    bool by_current = false; ///< the igniter's current began then
    Measured current_peak_a;

    Seen pulse_seen = kNone;
    Measured pulse_begins_s, pulse_peak_at_s, pulse_rise_s, pulse_decay_s, pulse_duration_s;
    Measured pulse_peak_pa; ///< over what it was before
    Seen barometer_back_seen = kNone;
    Measured barometer_back_s; ///< within kBack_pa of its earlier level for good

    Seen lid_off_seen = kNone, line_taut_seen = kNone, settled_seen = kNone;
    Measured lid_off_s, line_taut_s, settled_s, free_time_s;
    Measured shock_mps2; ///< greatest change of the acceleration along the long axis
    Measured turn_rate_radps, payload_turned_rad;
    double saturated = kNone; ///< readings of the accelerometer at its range

    double temperature_k = kNone;
    Measured battery_least_v, battery_sag_v;
    Seen battery_back_seen = kNone;
    Measured battery_back_s; ///< within kBack_v of its earlier level for good

    double readings = kNone, readings_missed = kNone; ///< of inertial sensor and barometer, around the firing
    double longest_gap_s = kNone;                     ///< without any reading, there
    double packets_lost = kNone, restarts = kNone;
    Survival barometer, accelerometer, gyro;
};

// Around the firing: for what is counted.
inline constexpr double kCountBefore_s = 0.5, kCountAfter_s = 1.0;
inline constexpr double kBack_pa = 40;
inline constexpr double kBack_v = 0.1;
/// How long before a firing, and after it, the analysis looks at.
inline constexpr double kLookBefore_s = 6.0, kLookAfter_s = 8.0;

[[nodiscard]] ChargeFindings analyse(const ChargeRecord& record);

} // namespace turnstone::analysis
