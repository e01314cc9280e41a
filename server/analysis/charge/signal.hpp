#pragma once
/// Readings of one quantity around the firing of a charge.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct Reading {
    double t_s; ///< from any zero that all signals of a record share
    double value;
};

/// In order of time, no two of one time, every value finite. A reading is the mean over the `mean_over_s` that end at
/// its time; 0: it is of that instant.
struct Signal {
    std::vector<Reading> readings;
    double mean_over_s = 0;

    [[nodiscard]] bool empty() const { return readings.empty(); }
    /// Those with `from_s` <= t < `until_s`.
    [[nodiscard]] std::span<const Reading> between(double from_s, double until_s) const {
        const auto at = [this](double t_s) {
            return std::lower_bound(readings.begin(), readings.end(), t_s,
                                    [](const Reading& reading, double t) { return reading.t_s < t; });
        };
        const auto first = at(from_s), last = at(until_s);
        return first < last ? std::span(first, last) : std::span<const Reading>();
    }
    [[nodiscard]] std::vector<double> values_between(double from_s, double until_s) const {
        std::vector<double> out;
        for (const Reading& reading : between(from_s, until_s)) out.push_back(reading.value);
        return out;
    }
    /// The longest stretch without a reading, the ends of the interval included; the interval where there is none.
    [[nodiscard]] double longest_gap_s(double from_s, double until_s) const {
        double longest_s = 0, last_s = from_s;
        for (const Reading& reading : between(from_s, until_s))
            longest_s = std::max(longest_s, reading.t_s - std::exchange(last_s, reading.t_s));
        return std::max(longest_s, until_s - last_s);
    }
    /// The usual time between readings: the middle of all; NaN below two.
    [[nodiscard]] double period_s() const {
        std::vector<double> steps;
        for (std::size_t i = 1; i < readings.size(); ++i) steps.push_back(readings[i].t_s - readings[i - 1].t_s);
        return median(steps);
    }
};

} // namespace turnstone::analysis
