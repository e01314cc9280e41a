#pragma once
/// The shape of what a column does after an event, against its mean before it. Times between samples are interpolated
/// on straight lines.
#include <cstdint>
#include <span>
#include <string>

#include "server/monitor/checks/value_gauges.hpp"
#include "shared/constants.hpp"

namespace turnstone {

struct PulseShape {
    double before = kNaN;     ///< mean of the baseline
    double peak = kNaN;       ///< farthest from it, with its sign
    double rise_s = kNaN;     ///< from a tenth to nine tenths of the peak
    double duration_s = kNaN; ///< beyond half of the peak, around it
    double impulse = kNaN;    ///< integral of what is above the mean
    double back_s = kNaN;     ///< from the event until it stays within the tolerance; the whole window: it does not
    std::string why_not = {}; ///< too little is known; empty: enough
};

/// `values` in the order of time.
[[nodiscard]] PulseShape shape_of_pulse(std::span<const TimedValue> values, std::int64_t t_event_ns, double baseline_s,
                                        double within_s, double tolerance);

} // namespace turnstone
