#pragma once
/// What moves a fin, from what it was told and what it did: delay, lag, and how fast it can go.
///
///     d' = (u(t - delay) - d) / lag, no faster than the limit, no further than the stop
///
/// fitted to the measured deflection by least squares, in steps of the record's even runs. A limit that was never
/// reached cannot be told: then only the fastest motion that was seen is given.
#include <span>

#include "server/analysis/signal/even_runs.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct Actuator {
    double delay_s = kNone, delay_sigma_s = kNone;
    double lag_s = kNone, lag_sigma_s = kNone;
    double rate_limit_radps = kNone; ///< NaN: never reached
    double rate_used_radps = kNone;  ///< the fastest motion between two samples
    double at_limit_share = kNone;   ///< of the time, moving as fast as it can
    double error_rad = kNone;        ///< rms of what the model leaves
};

/// Runs with the command first and the measured deflection second.
[[nodiscard]] Actuator identify_actuator(const EvenRuns& runs);

/// The part of the time that a command lies at `limit_rad` or beyond, either sign, for two samples in a row or more.
[[nodiscard]] double saturated_share(std::span<const double> command, double limit_rad);

} // namespace turnstone::analysis
