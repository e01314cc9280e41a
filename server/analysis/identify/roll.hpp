#pragma once
/// How fins roll a vehicle: p' = Lp p + Ld delta + L0, from a record of a flight.
///
/// States, units: p, the roll rate, rad/s. Lp (1/s) damps in proportion to dynamic pressure over airspeed, Ld (1/s2 per
/// rad) and L0 (1/s2, canted fins and the deflection's own bias) push in proportion to dynamic pressure; all are given
/// at a reference dynamic pressure and speed. Valid for one inertia: the motor has burnt out.
///
/// Both what is measured and what drives it are wrong, so neither a regression on p (biased: the noise of p stands
/// among the regressors) nor a plain simulation does: p runs in a Kalman filter whose innovations are made small
/// (maximum likelihood, the filter-error method of R. V. Jategaonkar, Flight Vehicle System Identification, AIAA 2006,
/// ch. 5, chapter from memory). Measurement noise is white; noise of the deflection and gusts drive p in proportion to
/// dynamic pressure; their ratio is searched. L0 drifts besides, since gusts along the path last. The deflection's
/// delay against the rate is a parameter too. Intervals: Newey and West over the innovations, and what scale errors of
/// the sensors and of the airspeed add, which no amount of data takes away. A gap of the record starts the filter
/// again; NaN values are passed over.
#include <span>

#include "server/analysis/identify/verdict.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// Columns of one length.
struct RollRecord {
    std::span<const double> t_s;
    std::span<const double> rate_radps; ///< its bias taken off (known from rest on the rail)
    std::span<const double> fin_rad;
    std::span<const double> dynamic_pressure_pa;
    std::span<const double> airspeed_mps;
};

/// 1-sigma, relative, the same for the whole flight.
struct RollScales {
    double rate = 0.01;
    double fin = 0.01;
    double dynamic_pressure = 0.02;
    double pressure_over_speed = 0.01;
};

struct RollDynamics {
    Verdict verdict;
    double lp_per_s = kNone, ld_per_s2 = kNone, l0_radps2 = kNone; ///< at the reference
    Interval lp_interval, ld_interval;
    double reference_q_pa = kNone, reference_speed_mps = kNone;
    double delay_s = kNone; ///< of the rate behind the deflection
    double delay_sigma_s = kNone;
    double fin_moves_rad = kNone;  ///< standard deviation
    double residual_radps = kNone; ///< 1-sigma of the measured rate
    std::size_t samples = 0;
};

/// Fins that move less than this, 1-sigma, count as still.
inline constexpr double kFinLeast_rad = 0.001;

[[nodiscard]] RollDynamics identify_roll(const RollRecord& record, const RollScales& scales);

} // namespace turnstone::analysis
