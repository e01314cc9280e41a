#include "server/estimate/sensors/pulse_detector.hpp"

#include <algorithm>
#include <cmath>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kForceWindow_s = 0.25;
constexpr double kPressureWindow_s = 0.4;
constexpr std::size_t kForceMin = 8;
constexpr std::size_t kPressureMin = 4;
constexpr double kLongestShock_s = 0.6;
constexpr double kLongestPressurePulse_s = 1.5;

} // namespace

PulseTracker::Outcome PulseTracker::sample(std::int64_t t_ns, double deviation, double signed_value) {
    const Point point{t_ns, deviation};
    if (!running_) {
        if (deviation < threshold_) {
            before_ = point;
            return Outcome::idle;
        }
        running_ = true;
        peak_ = 0.0;
        points_.assign(1, before_.t_ns == 0 ? Point{t_ns - 1, 0.0} : before_);
    }
    points_.push_back(point);
    if (deviation > peak_) {
        peak_ = deviation;
        peak_signed_ = signed_value;
        t_peak_ns_ = t_ns;
    }
    if (deviation > std::max(0.1 * peak_, 0.25 * threshold_)) t_loud_ns_ = t_ns;
    before_ = point;
    if (seconds_between(points_[1].t_ns, t_ns) > longest_s_) return Outcome::too_long;
    if (seconds_between(t_loud_ns_, t_ns) < quiet_s_) return Outcome::running;
    return Outcome::finished;
}

/// Seconds after the first point at which the size first, or for the last time, passes `level`.
double PulseTracker::crossing_s(double level, bool last) const {
    const auto between = [&](const Point& below, const Point& above) {
        const double fraction = above.size > below.size ? (level - below.size) / (above.size - below.size) : 1.0;
        return seconds_between(points_[0].t_ns, below.t_ns) +
               std::clamp(fraction, 0.0, 1.0) * seconds_between(below.t_ns, above.t_ns);
    };
    if (!last) {
        for (std::size_t i = 1; i < points_.size(); ++i)
            if (points_[i].size >= level) return between(points_[i - 1], points_[i]);
        return 0.0;
    }
    for (std::size_t i = points_.size(); i-- > 1;)
        if (points_[i - 1].size >= level) return between(points_[i], points_[i - 1]);
    return 0.0;
}

Pulse PulseTracker::result() const {
    const double begin_s = crossing_s(0.1 * peak_, false);
    const double end_s = crossing_s(0.1 * peak_, true);
    double integral = 0.0;
    for (std::size_t i = 1; i < points_.size() && points_[i - 1].t_ns <= t_loud_ns_; ++i) {
        integral +=
            0.5 * (points_[i - 1].size + points_[i].size) * seconds_between(points_[i - 1].t_ns, points_[i].t_ns);
    }
    const double span_s = seconds_between(points_.front().t_ns, points_.back().t_ns);
    return {points_[0].t_ns + seconds_to_ns(begin_s),
            t_peak_ns_,
            std::copysign(peak_, peak_signed_),
            crossing_s(0.9 * peak_, false) - begin_s,
            end_s - begin_s,
            std::copysign(integral, peak_signed_),
            span_s / static_cast<double>(points_.size() - 1),
            kNaN};
}

void PulseTracker::abandon() {
    running_ = false;
    points_.clear();
    before_ = {0, 0.0};
}

PulseDetector::PulseDetector(double accel_noise_mps2, double pressure_noise_pa)
    : shock_(std::max(kShock_mps2, 8.0 * accel_noise_mps2), kLongestShock_s, 0.03),
      pressure_pulse_(std::max(kPressure_pa, 8.0 * pressure_noise_pa), kLongestPressurePulse_s, 0.12), forces_(256),
      pressures_(128) {}

std::optional<Pulse> PulseDetector::force(std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2) {
    if (!accel_body_mps2.allFinite() || t_ns <= t_force_ns_) return std::nullopt;
    if (seconds_between(t_force_ns_, t_ns) > kGap_s) {
        shock_.abandon();
        forces_.clear();
    }
    t_force_ns_ = t_ns;
    if (forces_.size() < kForceMin) {
        forces_.push({t_ns, accel_body_mps2});
        return std::nullopt;
    }
    // While a pulse runs nothing is added, so the reference stays as it was at the onset.
    const std::size_t first =
        std::min(forces_.since(forces_.back().t_ns - seconds_to_ns(kForceWindow_s)), forces_.size() - kForceMin);
    Eigen::Vector3d mean = Eigen::Vector3d::Zero();
    for (std::size_t i = first; i < forces_.size(); ++i) mean += forces_[i].accel_body_mps2;
    mean /= static_cast<double>(forces_.size() - first);
    const Eigen::Vector3d deviation = accel_body_mps2 - mean;
    switch (shock_.sample(t_ns, deviation.norm(), deviation.x())) {
    case PulseTracker::Outcome::idle: forces_.push({t_ns, accel_body_mps2}); return std::nullopt;
    case PulseTracker::Outcome::running: return std::nullopt;
    case PulseTracker::Outcome::too_long: break;
    case PulseTracker::Outcome::finished: {
        Pulse pulse = shock_.result();
        pulse.axial_peak = shock_.signed_peak();
        pulse.peak = std::fabs(pulse.peak);
        pulse.integral = std::fabs(pulse.integral);
        shock_.abandon();
        forces_.clear();
        return pulse;
    }
    }
    shock_.abandon();
    forces_.clear();
    return std::nullopt;
}

std::optional<Pulse> PulseDetector::pressure(std::int64_t t_ns, double pressure_pa) {
    if (!std::isfinite(pressure_pa) || t_ns <= t_pressure_ns_) return std::nullopt;
    if (seconds_between(t_pressure_ns_, t_ns) > kGap_s) {
        pressure_pulse_.abandon();
        pressures_.clear();
    }
    t_pressure_ns_ = t_ns;
    if (pressures_.size() < kPressureMin) {
        pressures_.push({t_ns, pressure_pa});
        return std::nullopt;
    }
    // Straight line through the reference window, extended to this sample.
    const std::int64_t newest_ns = pressures_.back().t_ns;
    double n = 0, st = 0, sp = 0, stt = 0, stp = 0;
    for (std::size_t i = pressures_.since(newest_ns - seconds_to_ns(kPressureWindow_s)); i < pressures_.size(); ++i) {
        const double t = seconds_between(newest_ns, pressures_[i].t_ns);
        const double p = pressures_[i].pressure_pa;
        n += 1, st += t, sp += p, stt += t * t, stp += t * p;
    }
    const double det = n * stt - st * st;
    const double slope = n >= 4 && det > 0.0 ? (n * stp - st * sp) / det : 0.0;
    const double ahead_s = seconds_between(newest_ns, t_ns);
    const double deviation = pressure_pa - (sp - slope * st) / n - slope * ahead_s;
    switch (pressure_pulse_.sample(t_ns, std::fabs(deviation), deviation)) {
    case PulseTracker::Outcome::idle: pressures_.push({t_ns, pressure_pa}); return std::nullopt;
    case PulseTracker::Outcome::running: return std::nullopt;
    case PulseTracker::Outcome::finished: {
        const Pulse pulse = pressure_pulse_.result();
        pressure_pulse_.abandon();
        pressures_.clear();
        return pulse;
    }
    case PulseTracker::Outcome::too_long: break;
    }
    pressure_pulse_.abandon();
    pressures_.clear();
    return std::nullopt;
}

} // namespace turnstone::estimate
