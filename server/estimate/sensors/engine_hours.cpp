#include "server/estimate/sensors/engine_hours.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

TableOf<EngineFigures> engine_table() {
    using S = const EngineFigures&;
    constexpr const char* kGroup = "Engine";
    TableOf<EngineFigures> table{"engine", "Engine hours and slow gauges", 1.0};
    table
        .add({"running", "Engine", "1", kGroup, 0, "", {{0, "stopped"}, {1, "running"}}}, [](S e) { return e.running; })
        .add({"running_time_h", "Engine hours", "h", kGroup, 2}, [](S e) { return e.running_time_h; })
        .add({"temperature_rate_k_per_s", "Engine temperature rate", "K/s", kGroup, 3},
             [](S e) { return e.temperature_k.per_s; })
        .sigma([](S e) { return e.temperature_k.per_s_sigma; }, 3)
        .add({"oil_pressure_rate_pa_per_s", "Oil pressure rate", "Pa/s", kGroup, 0},
             [](S e) { return e.oil_pressure_pa.per_s; })
        .sigma([](S e) { return e.oil_pressure_pa.per_s_sigma; }, 0);
    return table;
}

void SlowRate::sample(std::int64_t t_ns, double value) {
    // Four a second are plenty for a gauge and fit the window whatever the sensor's rate.
    if (!std::isfinite(value) || seconds_between(t_kept_ns_, t_ns) < 0.25) return;
    t_kept_ns_ = t_ns;
    points_.push({t_ns, value});
}

Rate SlowRate::rate() const {
    if (points_.empty()) return {kNaN, kNaN};
    const std::int64_t newest_ns = points_.back().t_ns;
    const std::size_t first = points_.since(newest_ns - seconds_to_ns(kRateWindow_s));
    if (seconds_between(points_[first].t_ns, newest_ns) < kRateMin_s || points_.size() - first < 5) return {kNaN, kNaN};
    double n = 0, mean_t = 0, mean_y = 0, stt = 0, sty = 0, syy = 0;
    for (std::size_t i = first; i < points_.size(); ++i) {
        // Running means keep the digits that sums of squared pascals would lose.
        const double t = seconds_between(newest_ns, points_[i].t_ns);
        const double y = points_[i].value;
        n += 1;
        const double dt = t - mean_t, dy = y - mean_y;
        mean_t += dt / n;
        mean_y += dy / n;
        stt += dt * (t - mean_t);
        sty += dt * (y - mean_y);
        syy += dy * (y - mean_y);
    }
    const double slope = sty / stt;
    const double residual = std::max(0.0, syy - slope * sty);
    return {slope, std::sqrt(residual / (n - 2.0) / stt)};
}

void EngineHours::sample(const EngineSample& sample) {
    temperature_.sample(sample.t_ns, sample.temperature_k);
    oil_pressure_.sample(sample.t_ns, sample.oil_pressure_pa);
    if (!std::isfinite(sample.speed_rpm) || sample.t_ns <= t_speed_ns_) return;
    const double passed_s = t_speed_ns_ == 0 ? 0.0 : seconds_between(t_speed_ns_, sample.t_ns);
    t_speed_ns_ = sample.t_ns;
    if (running_ && passed_s <= kGap_s) total_s_ += passed_s;
    running_ = sample.speed_rpm > (running_ ? kOff : kOn) * threshold_rpm_;
}

EngineFigures EngineHours::figures() const {
    const bool known = t_speed_ns_ != 0;
    return {known ? (running_ ? 1.0 : 0.0) : kNaN, known ? total_s_ / 3600.0 : kNaN, temperature_.rate(),
            oil_pressure_.rate()};
}

} // namespace turnstone::estimate
