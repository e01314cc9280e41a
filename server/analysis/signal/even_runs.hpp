#pragma once
/// Samples as they came, put on even grids: what Fourier transforms ask for. Nothing is invented where samples are
/// missing: a gap ends a run and another begins behind it, and what is said of the runs says how much was missing.
///
/// Inside a run values are interpolated in straight lines, which takes the times' jitter away and joins channels that
/// were sampled at different moments. That damps what lies near half the rate of the slower channel, so nothing above
/// `highest_hz` is worth showing.
#include <cstddef>
#include <span>
#include <vector>

namespace turnstone::analysis {

struct Series {
    std::span<const double> t_s;
    std::span<const double> value; ///< NaN: missing
};

/// A stretch in which every channel has values at every step.
struct Run {
    double start_s;
    std::vector<std::vector<double>> channels; ///< all of one length
};

struct EvenRuns {
    double period_s;      ///< of the grid: the median interval of the fastest channel; NaN: no channel has two samples
    double highest_hz;    ///< half the rate of the slowest channel
    std::size_t gaps;     ///< between the first and the last sample, of all channels
    double missing_share; ///< of the time between the first and the last sample, not covered by runs
    double jitter_s;      ///< standard deviation of the fastest channel's intervals within runs
    std::vector<Run> runs;
};

/// An interval longer than this many median ones is a gap.
inline constexpr double kGapPeriods = 1.5;

/// Values whose time is not after the one before are left out. Runs shorter than `least` samples are too.
[[nodiscard]] EvenRuns even_runs(std::span<const Series> channels, std::size_t least = 2);

} // namespace turnstone::analysis
