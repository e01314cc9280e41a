#pragma once
/// The parts of analyse(), in their order: each fills its own findings, relative to ChargeFindings::fired_s.
#include <optional>

#include "server/analysis/charge/edge.hpp"
#include "server/analysis/charge/findings.hpp"

namespace turnstone::analysis {

/// The window in which a charge does its work.
inline constexpr double kWork_s = 0.22;

/// Mean and standard deviation of what was before.
struct Baseline {
    double level = kNone;
    double noise = kNone;
    [[nodiscard]] bool known() const { return noise == noise; }
};
[[nodiscard]] Baseline baseline(const Signal& signal, double fired_s);

/// Whether the last half of the window stands at one value though the readings before the firing did not: what reads
/// nothing shows neither that something happened nor that it did not.
[[nodiscard]] bool is_stuck(const Signal& signal, const Baseline& base, double from_s, double until_s);

/// The fast signal where it has no hole, else the one that comes always, unless it is much slower than a fast one that
/// there is; null: neither covers the window.
[[nodiscard]] const Signal* covering(const Signal& fast, const Signal& always, double from_s, double until_s);

/// The greatest value between its neighbours, by a parabola through them, and what may lie above what was sampled.
struct Peak {
    double t_s = kNone;
    Measured size; ///< sign * (value - level)
};
[[nodiscard]] Peak greatest(const Signal& signal, double from_s, double until_s, double sign, const Baseline& base);

/// When the readings between the times are within `tolerance` of `level` for good.
struct Return {
    Seen seen = kNone;
    Edge at;
};
[[nodiscard]] Return back_within(const Signal& signal, double from_s, double until_s, double level, double tolerance);

void find_firing(const ChargeRecord& record, ChargeFindings& out);
void find_pulse(const ChargeRecord& record, ChargeFindings& out);
void find_motion(const ChargeRecord& record, ChargeFindings& out);
void find_turning(const ChargeRecord& record, ChargeFindings& out);
/// After find_firing() and the gyro's survival. Absent: the gyro did not see enough of it, or was at its range.
[[nodiscard]] std::optional<Turn> turn_between(const ChargeRecord& record, const ChargeFindings& found, double from_s,
                                               double until_s);
void find_battery(const ChargeRecord& record, ChargeFindings& out);
void count_readings(const ChargeRecord& record, ChargeFindings& out);
void judge_sensors(const ChargeRecord& record, ChargeFindings& out);

} // namespace turnstone::analysis
