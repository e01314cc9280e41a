#pragma once
/// What a law would have done: its commands along a recorded flight, and the same flight closed through the plant that
/// was identified from it.
///
/// The record's own motion is what the law sees in the first; nothing it commands changes that motion, so the commands
/// are those of its first moments only in so far as they are small. The second answers: p' = Lp p + Ld d + L0 with the
/// record's dynamic pressure and speed, drive and delays, noise of the sensor; a draw of the plant within its intervals
/// each time; in pitch and yaw, -K phi besides. Neither knows bending, fin stall, coupling of axes, or what was not
/// flown.
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "server/analysis/guidance/controller.hpp"
#include "server/analysis/guidance/loop.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// Columns of one length, times ascending, without NaN.
struct ShadowRecord {
    std::span<const double> t_s;
    std::span<const double> rate_radps; ///< of the law's axis
    std::span<const double> dynamic_pressure_pa;
    std::span<const double> airspeed_mps;
};

struct ShadowRun {
    std::vector<double> t_s, state, wished_rad, limited_rad;
    double saturated_share = kNone; ///< of the time that the law acts
    double rate_used_share = kNone;
    double fastest_radps = kNone; ///< of the limited command between two decisions
};
[[nodiscard]] ShadowRun run_shadow(const Law& law, const ShadowRecord& record);

/// The plant over a flight; 1-sigma where one is known, else 0.
struct FlightPlant {
    double damping_per_s, damping_sigma; ///< at the reference
    double effect_per_s2, effect_sigma;
    double offset_radps2;
    double stiffness_per_s2 = 0; ///< in proportion to dynamic pressure
    double reference_q_pa = kNone, reference_speed_mps = kNone;
    double drive_lag_s = 0, drive_delay_s = 0, drive_rate_radps = kNone; ///< NaN: no limit known
    double drive_limit_rad = kNone;

    [[nodiscard]] AxisPlant at(double q_pa, double speed_mps) const;
};

/// The law's margins with the plant of one moment; delays of sensor, law, drive and period added up.
[[nodiscard]] Margins margins_at(const Law& law, const FlightPlant& plant, double q_pa, double speed_mps,
                                 double sensor_delay_s);

struct ClosedLoop {
    std::vector<double> t_s, state, fin_rad; ///< at each reading of the sensor
    double error_rms; ///< of the state from its reference, over the last two thirds of the time that it acts
    double error_end; ///< at the end of that time
    double saturated_share, rate_used_share;
};
struct SensorModel {
    double noise_radps, delay_s;
};
/// From the record's first rate on, at 1 ms; the sensor is read every 5 ms, or each period if that is shorter.
[[nodiscard]] ClosedLoop fly_closed(const Law& law, const FlightPlant& plant, const SensorModel& sensor,
                                    const ShadowRecord& record, std::uint64_t seed);

struct Quantiles {
    std::string what, title, unit;
    double q05, q50, q95;
};
/// `seeds` flights, each with a plant within its intervals, the sensor's noise between half and twice, and its delay
/// between none and twice. Calls `advance(part)` after each; false ends it, and the answer is empty.
[[nodiscard]] std::vector<Quantiles> sensitivity(const Law& law, const FlightPlant& plant, const SensorModel& sensor,
                                                 const ShadowRecord& record, std::size_t seeds,
                                                 const std::function<bool(double)>& advance);

} // namespace turnstone::analysis
