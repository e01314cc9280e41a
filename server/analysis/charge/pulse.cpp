#include <cmath>
#include <span>

#include "server/analysis/charge/parts.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kPulseLeast_pa = 150;
/// After this long a barometer that is not back will not be.
constexpr double kBackWithin_s = 3.0;

/// Of the readings about the `k`-th and the one before it, over as many as it takes to show through the noise.
double slope_about(std::span<const Reading> readings, std::size_t k, double noise) {
    std::size_t from = k - 1, to = k;
    const auto rise = [&] { return readings[to].value - readings[from].value; };
    while (std::abs(rise()) < 6 * noise && from > 0 && to + 1 < readings.size()) {
        --from;
        ++to;
    }
    return rise() / (readings[to].t_s - readings[from].t_s);
}

/// When the readings pass `level`; NaN: they do not. Noise takes a slow signal over it several times: the middle
/// between the first and the last.
Measured passes(const Signal& signal, double from_s, double until_s, double level, bool falling, double noise) {
    const auto readings = signal.between(from_s, until_s);
    double first_s = kNone, last_s = kNone, sigma_s = kNone;
    for (std::size_t k = 1; k < readings.size(); ++k) {
        const Reading &a = readings[k - 1], &b = readings[k];
        const bool crosses = falling ? a.value > level && b.value <= level : a.value < level && b.value >= level;
        if (!crosses) continue;
        const double step_s = b.t_s - a.t_s;
        last_s = a.t_s + (level - a.value) / (b.value - a.value) * step_s;
        if (!std::isnan(first_s)) continue;
        first_s = last_s;
        sigma_s = std::hypot(0.15 * step_s, noise / slope_about(readings, k, noise));
    }
    return {0.5 * (first_s + last_s), std::hypot(sigma_s, (last_s - first_s) / std::sqrt(12.0))};
}

Measured between(const Measured& late, const Measured& early) {
    return {late.value - early.value, std::hypot(late.sigma, early.sigma)};
}

void find_barometer_back(const ChargeRecord& record, ChargeFindings& out) {
    const Signal& barometer = record.pressure_pa;
    const Baseline base = baseline(barometer, out.fired_s);
    const double until_s = out.fired_s + kBackWithin_s;
    if (!base.known() || barometer.longest_gap_s(out.fired_s, until_s) > 0.5) return;
    const auto later = barometer.values_between(until_s, record.until_s);
    const Summary noise = summarise(later);
    if (!(noise.sd > 0)) return; // stuck, or nothing came: not back, and not away either
    const double tolerance = kBack_pa + 4 * noise.sd;
    const Return back = back_within(barometer, out.fired_s, until_s, base.level, tolerance);
    out.barometer_back_seen = back.seen;
    if (back.at.found())
        out.barometer_back_s = {back.at.t_s - out.fired_s, std::hypot(back.at.sigma_s, out.fired_sigma_s)};
}

} // namespace

void find_pulse(const ChargeRecord& record, ChargeFindings& out) {
    find_barometer_back(record, out);
    const double from_s = out.fired_s - std::max(0.002, 3 * out.fired_sigma_s), until_s = out.fired_s + kWork_s;
    const Signal* pressure = covering(record.bay_pa, record.pressure_pa, from_s, until_s);
    // A fast record that breaks off may still hold the whole pulse; one that begins with the firing has no level.
    if (pressure == nullptr) pressure = &record.bay_pa;
    const bool whole = pressure->longest_gap_s(from_s, until_s) < 2.5 * pressure->period_s() + 0.004;
    const Baseline base = baseline(*pressure, out.fired_s);
    if (!base.known()) return;
    const double least_pa = std::max(kPulseLeast_pa, 6 * base.noise);
    const Peak peak = greatest(*pressure, from_s, until_s, 1, base);
    const bool seen = peak.size.value >= least_pa;
    if (seen || whole) {
        out.pulse_seen = seen ? kYes : kNo;
        out.pulse_peak_pa = peak.size;
    }
    if (!seen) return;
    const double period_s = pressure->period_s();
    const auto after = [&](double t_s, double sigma_s) {
        return Measured{t_s - out.fired_s, std::hypot(sigma_s, out.fired_sigma_s)};
    };
    out.pulse_peak_at_s = after(peak.t_s, 0.4 * period_s);
    const Edge begin = find_edge(*pressure, out.fired_s - 0.045, until_s, 1,
                                 {.level = base.level, .noise = base.noise, .threshold = least_pa, .of_peak = 0.1});
    if (begin.found()) out.pulse_begins_s = after(begin.t_s, begin.sigma_s);
    const double size = peak.size.value;
    const auto rising = [&](double part) {
        return passes(*pressure, out.fired_s - 0.045, peak.t_s + period_s, base.level + part * size, false, base.noise);
    };
    const auto falling = [&](double part) {
        return passes(*pressure, peak.t_s, out.fired_s + 0.5, base.level + part * size, true, base.noise);
    };
    // 10 % to 90 % (IEEE Std 181, reference levels); no rise is shorter than a step shows.
    out.pulse_rise_s = between(rising(0.9), rising(0.1));
    if (out.pulse_rise_s.value == out.pulse_rise_s.value)
        out.pulse_rise_s.sigma = std::max(out.pulse_rise_s.sigma, 0.3 * period_s);
    out.pulse_decay_s = between(falling(std::exp(-1.0)), {peak.t_s, 0.4 * period_s});
    out.pulse_duration_s = between(falling(0.1), rising(0.1));
}

} // namespace turnstone::analysis
