#pragma once
/// Piecewise linear table. The simulator does not use the one in shared/vehicle.hpp: the estimators interpolate with
/// that, and a slip in it must not cancel when estimates are compared with the truth.
#include <algorithm>
#include <cstddef>
#include <vector>

namespace turnstone::sim {

struct Table {
    std::vector<double> x; ///< strictly ascending
    std::vector<double> y;

    /// Linear between points, the end values beyond. The table must not be empty.
    [[nodiscard]] double at(double x_value) const {
        if (x_value <= x.front()) return y.front();
        if (x_value >= x.back()) return y.back();
        const auto upper = static_cast<std::size_t>(std::upper_bound(x.begin(), x.end(), x_value) - x.begin());
        const double fraction = (x_value - x[upper - 1]) / (x[upper] - x[upper - 1]);
        return y[upper - 1] + fraction * (y[upper] - y[upper - 1]);
    }

    /// Area under the table.
    [[nodiscard]] double integral() const {
        double sum = 0.0;
        for (std::size_t i = 1; i < x.size(); ++i) sum += 0.5 * (y[i] + y[i - 1]) * (x[i] - x[i - 1]);
        return sum;
    }
};

} // namespace turnstone::sim
