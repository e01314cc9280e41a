#pragma once
#include <vector>

namespace turnstone {

/// Values against time. NaN breaks the line. `low` and `high`, when not empty, are the extremes or the bounds of a
/// band.
struct Trace {
    std::vector<double> t;
    std::vector<double> y;
    std::vector<double> low, high;
};

} // namespace turnstone
