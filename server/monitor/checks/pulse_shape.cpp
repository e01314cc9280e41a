#include "server/monitor/checks/pulse_shape.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kLeastBefore = 3, kLeastAfter = 2;

/// Seconds from the event at which the line between two samples has the value.
double crossing_s(const TimedValue& a, const TimedValue& b, double value, std::int64_t t_event_ns) {
    const double part = b.value == a.value ? 0 : std::clamp((value - a.value) / (b.value - a.value), 0.0, 1.0);
    return seconds_between(t_event_ns, a.t_ns) + part * seconds_between(a.t_ns, b.t_ns);
}

} // namespace

PulseShape shape_of_pulse(std::span<const TimedValue> values, std::int64_t t_event_ns, double baseline_s,
                          double within_s, double tolerance) {
    PulseShape out;
    const auto at = [&](std::int64_t t_ns) {
        return static_cast<std::size_t>(std::ranges::lower_bound(values, t_ns, {}, &TimedValue::t_ns) - values.begin());
    };
    const std::size_t first = at(t_event_ns - seconds_to_ns(baseline_s)), event = at(t_event_ns);
    const std::size_t end = at(t_event_ns + seconds_to_ns(within_s) + 1);
    if (event - first < kLeastBefore) {
        out.why_not = "too few values before the event";
        return out;
    }
    double sum = 0;
    for (std::size_t k = first; k < event; ++k) sum += values[k].value;
    out.before = sum / static_cast<double>(event - first);
    if (end - event < kLeastAfter) {
        out.why_not = "too few values after the event";
        return out;
    }
    const auto above = [&](std::size_t k) { return values[k].value - out.before; };
    std::size_t peak = event;
    out.impulse = 0;
    for (std::size_t k = event; k < end; ++k) {
        if (std::abs(above(k)) > std::abs(above(peak))) peak = k;
        if (k > event)
            out.impulse += (above(k - 1) + above(k)) / 2 * seconds_between(values[k - 1].t_ns, values[k].t_ns);
    }
    out.peak = above(peak);
    // Sample before the event as the foot of what rises at once.
    const std::size_t foot = event - 1;
    const auto rises_through = [&](double fraction) {
        std::size_t k = peak;
        while (k > foot && above(k) / out.peak >= fraction) --k;
        return crossing_s(values[k], values[std::min(k + 1, peak)], out.before + fraction * out.peak, t_event_ns);
    };
    const auto falls_through = [&](double fraction) {
        std::size_t k = peak;
        while (k + 1 < end && above(k) / out.peak >= fraction) ++k;
        if (above(k) / out.peak >= fraction) return seconds_between(t_event_ns, values[k].t_ns);
        return crossing_s(values[k - 1], values[k], out.before + fraction * out.peak, t_event_ns);
    };
    if (out.peak != 0) {
        out.rise_s = rises_through(0.9) - rises_through(0.1);
        out.duration_s = falls_through(0.5) - rises_through(0.5);
    }
    out.back_s = 0;
    for (std::size_t k = end; k-- > event;) {
        if (std::abs(above(k)) <= tolerance) continue;
        out.back_s = k + 1 < end ? seconds_between(t_event_ns, values[k + 1].t_ns) : within_s;
        break;
    }
    return out;
}

} // namespace turnstone
