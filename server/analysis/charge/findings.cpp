#include "server/analysis/charge/findings.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/charge/parts.hpp"

namespace turnstone::analysis {

namespace {

/// Of a signal that comes always: one lost packet of samples does not count.
constexpr double kHole_s = 0.05;
/// Of a fast one, in its own steps.
constexpr double kHoleSteps = 4.5;
/// A signal that is slower by more stands in for no fast one.
constexpr double kStandsInFor = 8;
constexpr double kPoorlyDated_s = 0.02;

} // namespace

Baseline baseline(const Signal& signal, double fired_s) {
    const double period_s = signal.period_s();
    const double margin_s = std::max(0.003, 2 * period_s);
    const Summary before = summarise(signal.values_between(fired_s - 3.0, fired_s - margin_s));
    return {before.mean, before.count >= 8 ? before.sd : kNone};
}

bool is_stuck(const Signal& signal, const Baseline& base, double from_s, double until_s) {
    constexpr std::size_t kToTell = 8;
    const auto last = signal.values_between(0.5 * (from_s + until_s), until_s);
    return base.noise > 0 && last.size() >= kToTell && std::ranges::min(last) == std::ranges::max(last);
}

const Signal* covering(const Signal& fast, const Signal& always, double from_s, double until_s) {
    if (fast.longest_gap_s(from_s, until_s) < kHoleSteps * fast.period_s()) return &fast;
    if (always.period_s() > kStandsInFor * fast.period_s()) return nullptr;
    const double hole_s = std::max(kHole_s, 2.5 * always.period_s());
    return always.longest_gap_s(from_s, until_s) < hole_s ? &always : nullptr;
}

Peak greatest(const Signal& signal, double from_s, double until_s, double sign, const Baseline& base) {
    const auto readings = signal.between(from_s, until_s);
    if (readings.empty() || !base.known()) return {};
    const auto size = [&](std::size_t k) { return sign * (readings[k].value - base.level); };
    std::size_t top = 0;
    for (std::size_t k = 1; k < readings.size(); ++k)
        if (size(k) > size(top)) top = k;
    Peak out{readings[top].t_s - 0.5 * signal.mean_over_s, {size(top), base.noise}};
    if (top == 0 || top + 1 == readings.size()) return out;
    const double left = size(top - 1), right = size(top + 1);
    const double bend = size(top) - 0.5 * (left + right);
    // A parabola rises above its greatest sample by up to an eighth of its bend over two steps; real peaks are sharper.
    out.size.sigma = std::hypot(base.noise, 0.25 * bend);
    const double step_s = 0.5 * (readings[top + 1].t_s - readings[top - 1].t_s);
    if (bend > 2 * base.noise) out.t_s += 0.25 * step_s * (right - left) / bend;
    return out;
}

Return back_within(const Signal& signal, double from_s, double until_s, double level, double tolerance) {
    const auto readings = signal.between(from_s, until_s);
    if (readings.size() < 5) return {};
    std::size_t in = readings.size();
    while (in > 0 && std::abs(readings[in - 1].value - level) <= tolerance) --in;
    // The last reading alone says little.
    if (in + 3 > readings.size()) return {kNo, {}};
    const double after_s = readings[in].t_s, before_s = in > 0 ? readings[in - 1].t_s : from_s;
    return {kYes, {0.5 * (after_s + before_s), (after_s - before_s) / std::sqrt(12.0)}};
}

void find_firing(const ChargeRecord& record, ChargeFindings& out) {
    out.fired_s = record.fired_s;
    out.fired_sigma_s = record.fired_sigma_s;
    const Signal& current = record.current_a;
    const double from_s = record.fired_s - std::max(0.045, 3 * record.fired_sigma_s);
    const double until_s = record.fired_s + std::max(kWork_s, 3 * record.fired_sigma_s);
    constexpr double kLeast_a = 0.3, kNoise_a = 0.02;
    if (!current.between(from_s, until_s).empty()) {
        const Edge edge =
            find_edge(current, from_s, until_s, 1, {.noise = kNoise_a, .threshold = kLeast_a, .of_peak = 0.3});
        const double from = edge.found() ? edge.t_s - 0.01 : from_s;
        const Peak peak = greatest(current, from, from + 0.03, 1, {0, kNoise_a});
        out.current_peak_a = peak.size;
        if (edge.found()) {
            out.fired_s = edge.t_s;
            out.fired_sigma_s = edge.sigma_s;
            out.by_current = true;
            return;
        }
    }
    if (!(record.fired_sigma_s > kPoorlyDated_s)) return;
    // Nobody noted when: the first thing that moved is the zero of all times.
    Edge first;
    const auto consider = [&](const Signal& signal, double sign, double least) {
        const Baseline base = baseline(signal, from_s);
        if (!base.known()) return;
        const Edge edge =
            find_edge(signal, from_s, until_s, sign,
                      {.level = base.level, .noise = base.noise, .threshold = std::max(least, 8 * base.noise)});
        if (edge.found() && !(first.t_s <= edge.t_s)) first = edge;
    };
    consider(record.pressure_pa, 1, 200);
    consider(record.accel_mps2[0], 1, 25);
    consider(record.accel_mps2[0], -1, 25);
    if (!first.found()) return;
    out.fired_s = first.t_s;
    out.fired_sigma_s = first.sigma_s;
}

void find_battery(const ChargeRecord& record, ChargeFindings& out) {
    const Signal& usual = record.battery_v.empty() ? record.burst_battery_v : record.battery_v;
    const Summary before = summarise(usual.values_between(out.fired_s - kLookBefore_s, out.fired_s - 0.003));
    if (before.count == 0) return;
    const double noise_v = before.count > 1 ? before.sd : 0.0;
    for (const Signal* signal : {&record.burst_battery_v, &record.battery_v}) {
        if (signal->between(out.fired_s, out.fired_s + 0.5).empty()) continue;
        const Baseline own = baseline(*signal, out.fired_s);
        const Peak deepest = greatest(*signal, out.fired_s - 0.002, out.fired_s + 2.0, -1,
                                      {before.mean, own.known() ? own.noise : noise_v});
        if (out.battery_sag_v.value >= deepest.size.value) continue;
        out.battery_sag_v = deepest.size;
        out.battery_least_v = {before.mean - deepest.size.value, deepest.size.sigma};
    }
    if (std::isnan(out.battery_sag_v.value)) return;
    // Noise brings the last reading beyond a limit too late, and a limit that allows for all noise too early.
    const auto back_in = [&](const Signal& signal, double until_s) {
        Return early = back_within(signal, out.fired_s, until_s, before.mean, kBack_v + 4 * noise_v);
        const Return late = back_within(signal, out.fired_s, until_s, before.mean, kBack_v);
        if (early.seen != kYes || late.seen != kYes) return early;
        const double apart_s = late.at.t_s - early.at.t_s;
        early.at = {early.at.t_s + 0.5 * apart_s, std::hypot(early.at.sigma_s, apart_s / std::sqrt(12.0))};
        return early;
    };
    const Return back = back_in(usual, out.fired_s + kLookAfter_s);
    out.battery_back_seen = back.seen;
    if (!back.at.found()) return;
    // Between two of the usual readings the fast ones may show it.
    const double until_s = back.at.t_s + 2 * back.at.sigma_s;
    const Return fast = back_in(record.burst_battery_v, until_s);
    const Edge at = fast.seen == kYes ? fast.at : back.at;
    out.battery_back_s = {at.t_s - out.fired_s, std::hypot(at.sigma_s, out.fired_sigma_s)};
}

void count_readings(const ChargeRecord& record, ChargeFindings& out) {
    const double from_s = out.fired_s - kCountBefore_s, until_s = out.fired_s + kCountAfter_s;
    out.readings = out.readings_missed = 0;
    for (const Signal* signal : {&record.pressure_pa, record.accel_mps2.data()}) {
        if (signal->readings.size() < 8) continue;
        const auto got = static_cast<double>(signal->between(from_s, until_s).size());
        out.readings += got;
        out.readings_missed += std::max(0.0, std::round((until_s - from_s) / signal->period_s()) - got);
    }
    double last_s = from_s;
    out.longest_gap_s = 0;
    for (const double t_s : record.heard_s) {
        if (t_s < from_s || t_s > until_s) continue;
        out.longest_gap_s = std::max(out.longest_gap_s, t_s - last_s);
        last_s = t_s;
    }
    out.longest_gap_s = std::max(out.longest_gap_s, until_s - last_s);
    out.packets_lost = record.packets_lost;
    out.restarts = record.restarts;
    const Summary warm = summarise(record.temperature_k.values_between(out.fired_s - kLookBefore_s, out.fired_s));
    out.temperature_k = warm.mean;
}

void judge_sensors(const ChargeRecord& record, ChargeFindings& out) {
    // Until it hangs still, at most until enough is left to judge.
    const double calm_s =
        std::clamp(out.settled_s.value == out.settled_s.value ? out.settled_s.value + 0.3 : 1.5, 1.0, 3.0);
    const double before_s = out.fired_s - kLookBefore_s, until_s = std::min(record.until_s, out.fired_s + kLookAfter_s);
    const auto before = [&](const Signal& s) { return s.values_between(before_s, out.fired_s - 0.2); };
    const auto after = [&](const Signal& s) { return s.values_between(out.fired_s + calm_s, until_s); };
    const auto expected = [&](const Signal& s) { return (until_s - out.fired_s - calm_s) / s.period_s(); };
    const auto all = [&](const std::array<Signal, 3>& axes, const auto& part) {
        return Axes{part(axes[0]), part(axes[1]), part(axes[2])};
    };
    out.barometer =
        compare(before(record.pressure_pa), after(record.pressure_pa), expected(record.pressure_pa), kBarometer);
    out.gyro =
        compare_gyro(all(record.rate_radps, before), all(record.rate_radps, after), expected(record.rate_radps[0]));
    out.accelerometer = compare_accelerometer(all(record.accel_mps2, before), all(record.accel_mps2, after),
                                              expected(record.accel_mps2[0]),
                                              turn_between(record, out, out.fired_s - 0.2, out.fired_s + calm_s));
}

ChargeFindings analyse(const ChargeRecord& record) {
    ChargeFindings out;
    find_firing(record, out);
    find_pulse(record, out);
    find_motion(record, out);
    find_turning(record, out);
    find_battery(record, out);
    count_readings(record, out);
    judge_sensors(record, out);
    return out;
}

} // namespace turnstone::analysis
