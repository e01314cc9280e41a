#include "server/analysis/signal/step_figures.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace turnstone::analysis {

namespace {

constexpr double kUnseen = std::numeric_limits<double>::quiet_NaN();

/// Response as a part of the way from its first to its final value.
struct Way {
    std::span<const double> t_s, value;
    double before, after;

    [[nodiscard]] double at(std::size_t i) const { return (value[i] - before) / (after - before); }
    [[nodiscard]] double crossing_s(std::size_t i, double level) const {
        return t_s[i] + (level - at(i)) / (at(i + 1) - at(i)) * (t_s[i + 1] - t_s[i]) - t_s.front();
    }
    [[nodiscard]] double first_s(double level) const {
        for (std::size_t i = 0; i < value.size(); ++i)
            if (at(i) >= level) return i == 0 ? 0.0 : crossing_s(i - 1, level);
        return kUnseen;
    }
    [[nodiscard]] double settled_s(double band) const {
        for (std::size_t i = value.size(); i-- > 0;)
            if (std::abs(at(i) - 1) > band) {
                if (i + 1 == value.size()) return kUnseen;
                return crossing_s(i, at(i) > 1 ? 1 + band : 1 - band);
            }
        return 0;
    }
};

} // namespace

StepFigures step_figures(std::span<const double> t_s, std::span<const double> value, double before, double after) {
    StepFigures out{kUnseen, kUnseen, kUnseen, kUnseen, kUnseen, kUnseen, kUnseen};
    const std::size_t count = std::min(t_s.size(), value.size());
    if (count < 2 || !(std::abs(after - before) > 0)) return out;
    const Way way{t_s.first(count), value.first(count), before, after};
    out.t10_s = way.first_s(0.1);
    out.t90_s = way.first_s(0.9);
    out.rise_s = out.t90_s - out.t10_s;
    std::size_t peak = 0;
    for (std::size_t i = 1; i < count; ++i)
        if (way.at(i) > way.at(peak)) peak = i;
    out.overshoot = std::max(0.0, way.at(peak) - 1);
    out.peak_s = t_s[peak] - t_s.front();
    out.settling_2_s = way.settled_s(0.02);
    out.settling_5_s = way.settled_s(0.05);
    return out;
}

std::vector<Step> find_steps(std::span<const double> t_s, std::span<const double> value, double least, double rise_s,
                             double rest_s) {
    std::vector<Step> out;
    const std::size_t count = std::min(t_s.size(), value.size());
    // How far values from `from` on stay within a fifth of the least step.
    const auto rests_until = [&](std::size_t from) {
        double low = value[from], high = value[from];
        std::size_t last = from;
        for (std::size_t i = from + 1; i < count; ++i) {
            low = std::min(low, value[i]);
            high = std::max(high, value[i]);
            if (high - low > 0.2 * least) break;
            last = i;
        }
        return last;
    };
    for (std::size_t i = 0; i + 1 < count;) {
        const std::size_t moves = rests_until(i);
        if (moves + 1 >= count) break;
        if (t_s[moves] - t_s[i] < rest_s) {
            i = std::max(moves, i + 1);
            continue;
        }
        std::size_t arrived = moves + 1;
        while (arrived + 1 < count && t_s[rests_until(arrived)] - t_s[arrived] < rest_s &&
               t_s[arrived] - t_s[moves] < rise_s)
            ++arrived;
        const std::size_t until = rests_until(arrived);
        const double before = value[moves], after = value[until];
        if (t_s[until] - t_s[arrived] >= rest_s && std::abs(after - before) >= least &&
            t_s[arrived] - t_s[moves] <= rise_s)
            out.push_back({moves, until, before, after});
        i = arrived;
    }
    return out;
}

} // namespace turnstone::analysis
