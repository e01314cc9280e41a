#include "server/report/draw/scale.hpp"

#include <algorithm>
#include <cmath>

namespace turnstone::report {

double Scale::at(double value) const {
    const double part = logarithmic ? std::log(value / range.low) / std::log(range.high / range.low)
                                    : (value - range.low) / (range.high - range.low);
    return from + part * (to - from);
}

std::vector<double> round_values(const Range& range, int most) {
    std::vector<double> values;
    const double width = range.high - range.low;
    if (!(width > 0) || !std::isfinite(width)) return values;
    const double least = width / most;
    const double power = std::pow(10.0, std::floor(std::log10(least)));
    double step = 10 * power;
    for (const double times : {5.0, 2.0, 1.0})
        if (times * power >= least * (1 - 1e-9)) step = times * power;
    for (double n = std::ceil(range.low / step - 1e-9); n * step <= range.high + 1e-9 * step; ++n)
        values.push_back(n * step);
    return values;
}

int decimals_of(const std::vector<double>& round) {
    if (round.size() < 2) return 0;
    const double step = round[1] - round[0];
    return std::clamp(static_cast<int>(std::ceil(-std::log10(step) - 1e-9)), 0, 9);
}

std::vector<double> round_powers(const Range& range) {
    std::vector<double> values;
    if (!(range.low > 0) || !(range.high > range.low)) return values;
    const bool few = range.high / range.low < 1000;
    for (double power = std::pow(10.0, std::floor(std::log10(range.low))); power <= range.high; power *= 10)
        for (const double times : {1.0, 2.0, 5.0})
            if ((times == 1 || few) && times * power >= range.low && times * power <= range.high)
                values.push_back(times * power);
    return values;
}

void RangeOf::add(double value) {
    if (!std::isfinite(value)) return;
    range_.low = any_ ? std::min(range_.low, value) : value;
    range_.high = any_ ? std::max(range_.high, value) : value;
    any_ = true;
}

Range RangeOf::range() const {
    if (!any_) return {0, 1};
    const double width = range_.high - range_.low;
    const double margin = width > 0 ? 0.05 * width : std::max(0.5 * std::abs(range_.low), 0.5);
    return {range_.low - margin, range_.high + margin};
}

} // namespace turnstone::report
