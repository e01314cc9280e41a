#pragma once
/// What stands between a loop and its swinging up: gain, phase and delay margin.
///
/// Plant p' = Lp p - K phi + Ld d, phi' = p, K zero in roll, and in pitch and yaw what swings the axis back; the drive
/// d follows the command with a lag; delays of all parts add. The loop is opened at the command, the delay kept as
/// exp(-s T). K. J. Astrom, R. M. Murray, Feedback Systems, 2nd ed., ch. 10 (chapter from memory); stability first, by
/// the argument principle on den(s) + num(s) exp(-s T), since margins read off the curve of an unstable loop mean
/// nothing. Checked against tests/reference/numerics2/margins.json.
#include "server/analysis/guidance/law.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct AxisPlant {
    double damping_per_s;        ///< Lp; below zero damps
    double effect_per_s2;        ///< Ld
    double stiffness_per_s2 = 0; ///< K
    double drive_lag_s = 0;      ///< 0: none
    double delay_s = 0;          ///< of everything from the sensor to the fin's first motion
};

struct Margins {
    bool stable = false;
    double gain = kNone;        ///< the least factor above 1 that brings the loop to its edge; NaN: none does
    double gain_less = kNone;   ///< the same below 1: this much less gain and it swings up
    double phase_rad = kNone;   ///< at the crossing where it is least in size; NaN: the loop's gain never is 1
    double delay_s = kNone;     ///< more delay until the edge; NaN: as phase, and of an unstable loop
    double sensitivity = kNone; ///< the greatest of |1 / (1 + L)|

    [[nodiscard]] double gain_db() const;
};

/// `factor`: of the schedule. The law's own delay and half its period are not added here.
[[nodiscard]] Margins loop_margins(const Law& law, double factor, const AxisPlant& plant);

} // namespace turnstone::analysis
