#pragma once
/// Series of several flights on one time base, so that they can be compared moment by moment. What a flight did not
/// measure stays NaN: nothing is drawn across a gap.
#include <cstddef>
#include <span>
#include <vector>

namespace turnstone::analysis {

/// Equally spaced times from `from_s` to `to_s`, both rounded inwards to whole steps. The step is 1, 2 or 5 times a
/// power of ten, at least `least_step_s`, and the first that keeps to `most` times. Empty when there is no span.
[[nodiscard]] std::vector<double> time_base(double from_s, double to_s, double least_step_s, std::size_t most);

/// Values at the times `base_s`, linear between two samples that are at most `bridged_s` apart; NaN where there are no
/// such two, and beside a sample that is NaN. `t_s` ascends, `base_s` too.
[[nodiscard]] std::vector<double> resampled(std::span<const double> t_s, std::span<const double> values,
                                            std::span<const double> base_s, double bridged_s);

} // namespace turnstone::analysis
