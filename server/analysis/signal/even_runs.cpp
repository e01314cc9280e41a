#include "server/analysis/signal/even_runs.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

namespace {

struct Stretch {
    double from_s, to_s;
};

/// A channel without what is missing or out of order, and where it has no gap.
struct Cleaned {
    std::vector<double> t_s, value;
    double period_s = kNone;
    double jitter_s = 0;
    std::size_t gaps = 0;
    std::vector<Stretch> stretches;
};

Cleaned cleaned(const Series& series) {
    Cleaned out;
    for (std::size_t i = 0; i < std::min(series.t_s.size(), series.value.size()); ++i) {
        const double t_s = series.t_s[i];
        if (!std::isfinite(series.value[i]) || !std::isfinite(t_s)) continue;
        if (!out.t_s.empty() && t_s <= out.t_s.back()) continue;
        out.t_s.push_back(t_s);
        out.value.push_back(series.value[i]);
    }
    if (out.t_s.size() < 2) return out;
    std::vector<double> intervals;
    for (std::size_t i = 1; i < out.t_s.size(); ++i) intervals.push_back(out.t_s[i] - out.t_s[i - 1]);
    out.period_s = median(intervals);
    std::vector<double> whole;
    out.stretches.push_back({out.t_s.front(), out.t_s.front()});
    for (std::size_t i = 0; i < intervals.size(); ++i) {
        if (intervals[i] > kGapPeriods * out.period_s) {
            ++out.gaps;
            out.stretches.push_back({out.t_s[i + 1], out.t_s[i + 1]});
        } else {
            out.stretches.back().to_s = out.t_s[i + 1];
            whole.push_back(intervals[i]);
        }
    }
    if (whole.size() > 1) out.jitter_s = summarise(whole).sd;
    return out;
}

std::vector<Stretch> common(const std::vector<Stretch>& a, const std::vector<Stretch>& b) {
    std::vector<Stretch> out;
    for (std::size_t i = 0, k = 0; i < a.size() && k < b.size();) {
        const Stretch both{std::max(a[i].from_s, b[k].from_s), std::min(a[i].to_s, b[k].to_s)};
        if (both.from_s <= both.to_s) out.push_back(both);
        a[i].to_s < b[k].to_s ? ++i : ++k;
    }
    return out;
}

std::vector<double> on_grid(const Cleaned& channel, double start_s, double period_s, std::size_t count) {
    std::vector<double> out(count);
    auto upper = static_cast<std::size_t>(std::ranges::upper_bound(channel.t_s, start_s) - channel.t_s.begin());
    for (std::size_t k = 0; k < count; ++k) {
        const double t_s = start_s + static_cast<double>(k) * period_s;
        while (upper < channel.t_s.size() && channel.t_s[upper] <= t_s) ++upper;
        if (upper == 0 || upper == channel.t_s.size()) { // rounding at the ends of a stretch
            out[k] = upper == 0 ? channel.value.front() : channel.value.back();
            continue;
        }
        const double part = (t_s - channel.t_s[upper - 1]) / (channel.t_s[upper] - channel.t_s[upper - 1]);
        out[k] = channel.value[upper - 1] + part * (channel.value[upper] - channel.value[upper - 1]);
    }
    return out;
}

} // namespace

EvenRuns even_runs(std::span<const Series> channels, std::size_t least) {
    EvenRuns out{kNone, kNone, 0, kNone, kNone, {}};
    std::vector<Cleaned> clean;
    for (const Series& series : channels) clean.push_back(cleaned(series));
    if (clean.empty() || std::ranges::any_of(clean, [](const Cleaned& one) { return std::isnan(one.period_s); }))
        return out;
    const auto [fastest, slowest] = std::ranges::minmax_element(clean, {}, &Cleaned::period_s);
    out.period_s = fastest->period_s;
    out.highest_hz = 0.5 / slowest->period_s;
    out.jitter_s = fastest->jitter_s;
    std::vector<Stretch> stretches = clean.front().stretches;
    double from_s = clean.front().t_s.front(), to_s = clean.front().t_s.back();
    for (const Cleaned& one : clean) {
        out.gaps += one.gaps;
        stretches = common(stretches, one.stretches);
        from_s = std::min(from_s, one.t_s.front());
        to_s = std::max(to_s, one.t_s.back());
    }
    double covered_s = 0;
    for (const Stretch& stretch : stretches) {
        const auto count =
            static_cast<std::size_t>(std::floor((stretch.to_s - stretch.from_s) / out.period_s + 1e-6)) + 1;
        if (count < std::max<std::size_t>(least, 2)) continue;
        covered_s += static_cast<double>(count - 1) * out.period_s;
        Run run{stretch.from_s, {}};
        for (const Cleaned& one : clean) run.channels.push_back(on_grid(one, run.start_s, out.period_s, count));
        out.runs.push_back(std::move(run));
    }
    out.missing_share = to_s > from_s ? std::clamp(1 - covered_s / (to_s - from_s), 0.0, 1.0) : 0.0;
    return out;
}

} // namespace turnstone::analysis
