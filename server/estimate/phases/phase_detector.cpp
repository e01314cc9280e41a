#include "server/estimate/phases/phase_detector.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kAlive_s = 1.0;          ///< a sensor heard of within this is alive
constexpr double kBarometerDead_s = 10.0; ///< silent for that long while inertial samples come: not a fade
constexpr double kRestRate_rad_s = 0.08;  ///< mean magnitude: gyro bias and noise, no swinging

} // namespace

PhaseDetector::PhaseDetector(const PhaseSettings& settings)
    : settings_(settings), forces_(2048), heights_(1024), speeds_(1024), rest_axial_mps2_(settings.gravity_mps2),
      shocks_(64) {}

void PhaseDetector::reset() {
    *this = PhaseDetector(settings_);
}

std::optional<std::int64_t> PhaseDetector::time_of(Moment moment) const noexcept {
    for (const FoundMoment& found : moments_)
        if (found.moment == moment) return found.t_ns;
    return std::nullopt;
}

Motion PhaseDetector::motion() const noexcept {
    switch (phase_) {
    case Phase::on_pad:
    case Phase::landed: return Motion::rest;
    case Phase::powered_ascent: return Motion::boost;
    case Phase::coast: return Motion::coast;
    default: return Motion::descent;
    }
}

void PhaseDetector::enter(Phase phase, Moment moment, TimeEstimate when) {
    // A flight's moments are in order: back-dating never goes behind the moment before. Losing contact is no such
    // moment.
    std::int64_t t_ns = std::min(when.t_ns, t_now_ns_);
    for (std::size_t i = moments_.size(); i-- > 0;) {
        if (moments_[i].moment > Moment::landing) continue;
        t_ns = std::max(t_ns, moments_[i].t_ns);
        break;
    }
    phase_ = phase;
    phase_began_ns_ = t_ns;
    moments_.push_back({moment, t_ns, when.sigma_s, t_now_ns_, phase});
    ++found_count_;
    coast_began_ns_ = 0;
    coast_samples_ = 0;
    falling_ = 0;
    slowed_ = 0;
}

bool PhaseDetector::barometer_alive() const noexcept {
    return !heights_.empty() && seconds_between(heights_.back().t_ns, t_now_ns_) < kAlive_s;
}

bool PhaseDetector::barometer_gone() const noexcept {
    return heights_.empty() || seconds_between(heights_.back().t_ns, t_now_ns_) > kBarometerDead_s;
}

bool PhaseDetector::inertial_alive() const noexcept {
    return !forces_.empty() && seconds_between(forces_.back().t_ns, t_now_ns_) < kAlive_s;
}

/// Magnitude (or axial force) steady over the window, and as large as gravity when all axes are there.
bool PhaseDetector::inertial_at_rest(double window_s, double spread_mps2) const {
    const std::size_t first = forces_.since(t_now_ns_ - seconds_to_ns(window_s));
    const std::size_t count = forces_.size() - first;
    if (count < 10 || seconds_between(forces_[first].t_ns, t_now_ns_) < 0.8 * window_s) return false;
    double sum = 0.0;
    double squares = 0.0;
    double rates = 0.0; // NaN without a gyro
    bool all_axes = true;
    for (std::size_t i = first; i < forces_.size(); ++i) {
        all_axes = all_axes && std::isfinite(forces_[i].magnitude_mps2);
        const double f = all_axes ? forces_[i].magnitude_mps2 : forces_[i].axial_mps2;
        sum += f;
        squares += f * f;
        rates += forces_[i].lateral_rate_rad_s;
    }
    const double n = static_cast<double>(count);
    const double mean = sum / n;
    if (rates / n > kRestRate_rad_s) return false;
    const double spread = std::sqrt(std::max(0.0, squares / n - mean * mean));
    if (spread > spread_mps2 + 2.0 * settings_.accel_noise_mps2) return false;
    return !all_axes || std::fabs(mean - settings_.gravity_mps2) < 1.2;
}

/// Feels its own weight, by the forces of the last two seconds: a canopy carries it.
bool PhaseDetector::hangs() const {
    const std::size_t first = forces_.since(t_now_ns_ - seconds_to_ns(2.0));
    const std::size_t count = forces_.size() - first;
    if (count < 10 || seconds_between(forces_[first].t_ns, t_now_ns_) < 1.6) return false;
    double sum = 0.0;
    for (std::size_t i = first; i < forces_.size(); ++i) sum += forces_[i].magnitude_mps2;
    return std::fabs(sum / static_cast<double>(count) - settings_.gravity_mps2) < 0.2 * settings_.gravity_mps2;
}

/// Of the lateral rate, rad/s; NaN without a gyro or a sample.
double PhaseDetector::mean_rate(std::int64_t from_ns, std::int64_t to_ns) const {
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = forces_.since(from_ns); i < forces_.size() && forces_[i].t_ns <= to_ns; ++i) {
        sum += forces_[i].lateral_rate_rad_s;
        ++count;
    }
    return sum / count;
}

std::optional<double> PhaseDetector::mean_height(std::int64_t from_ns, std::int64_t to_ns) const {
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        sum += heights_[i].above_pad_m;
        ++count;
    }
    if (count == 0) return std::nullopt;
    return sum / count;
}

std::optional<PhaseDetector::Line> PhaseDetector::line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const {
    double n = 0, st = 0, sh = 0, stt = 0, sth = 0, shh = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        const double t = seconds_between(to_ns, heights_[i].t_ns);
        const double h = heights_[i].above_pad_m;
        n += 1, st += t, sh += h, stt += t * t, sth += t * h, shh += h * h;
    }
    if (n < 4) return std::nullopt;
    const double det = n * stt - st * st;
    if (det <= 1e-9) return std::nullopt;
    const double slope = (n * sth - st * sh) / det;
    const double value = (sh - slope * st) / n;
    const double residual = shh - value * sh - slope * sth;
    return Line{value, slope, std::sqrt(std::max(0.0, residual / n)), static_cast<int>(n)};
}

void PhaseDetector::imu(std::int64_t t_ns, double axial_mps2, double magnitude_mps2, double lateral_rate_rad_s) {
    if (!std::isfinite(axial_mps2)) return;
    if (!forces_.empty() && t_ns <= forces_.back().t_ns) return;
    const Force force{t_ns, axial_mps2, magnitude_mps2, lateral_rate_rad_s};
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    t_input_ns_ = std::max(t_input_ns_, t_ns);
    if (phase_ == Phase::presumed_down) contact_again();
    if (phase_ == Phase::on_pad) watch_pad(force);
    forces_.push(force);
    watch_shock(force);
    switch (phase_) {
    case Phase::on_pad:
        decide_lift_off_inertial();
        if (phase_ == Phase::on_pad) decide_lift_off_unseen();
        break;
    case Phase::powered_ascent:
        watch_withdrawal();
        watch_burn_out(force);
        break;
    case Phase::coast:
        watch_withdrawal();
        if (phase_ == Phase::coast) watch_apogee_by_weight();
        break;
    case Phase::descent: watch_deployment(); break;
    case Phase::drogue_descent:
        if (!barometer_alive()) watch_main();
        break;
    case Phase::landed: watch_standing(force); break;
    case Phase::main_descent:
    case Phase::presumed_down: break;
    }
}

void PhaseDetector::height(std::int64_t t_ns, double above_pad_m, double sigma_m) {
    if (!std::isfinite(above_pad_m) || !(sigma_m > 0.0)) return;
    if (!heights_.empty() && t_ns <= heights_.back().t_ns) return;
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    t_input_ns_ = std::max(t_input_ns_, t_ns);
    if (phase_ == Phase::presumed_down) contact_again();
    heights_.push({t_ns, above_pad_m, sigma_m});
    switch (phase_) {
    case Phase::on_pad:
        decide_lift_off_inertial();
        if (phase_ == Phase::on_pad) decide_lift_off_heights();
        break;
    case Phase::powered_ascent:
        watch_burn_out_heights();
        watch_apogee_heights();
        break;
    case Phase::coast: watch_apogee_heights(); break;
    case Phase::descent: watch_deployment(); break;
    case Phase::drogue_descent: watch_main(); break;
    case Phase::landed: watch_rest_by_heights(); break;
    case Phase::main_descent:
    case Phase::presumed_down: break;
    }
    watch_landing();
}

void PhaseDetector::vertical(const VerticalEstimate& estimate) {
    if (!estimate.valid || (!speeds_.empty() && estimate.t_ns <= speeds_.back().t_ns)) return;
    speeds_.push({estimate.t_ns, estimate.vertical_speed_mps, estimate.vertical_speed_sigma_mps,
                  estimate.acceleration_mps2, estimate.altitude_m, estimate.altitude_sigma_m});
    if (phase_ == Phase::coast || phase_ == Phase::powered_ascent) watch_apogee();
}

void PhaseDetector::pulse(std::int64_t t_ns) {
    if (on_ground()) return;
    if (!shocks_.empty() && t_ns <= shocks_.back().t_last_ns + seconds_to_ns(0.5)) return;
    // It is one of the last heights, and rose since the one before that was received.
    const std::size_t i = heights_.since(t_ns);
    const double spacing_s = i > 0 && i < heights_.size() ? seconds_between(heights_[i - 1].t_ns, t_ns) : 0.1;
    shocks_.push({t_ns - seconds_to_ns(0.5 * spacing_s), t_ns, spacing_s / std::sqrt(12.0)});
    if (phase_ == Phase::descent) watch_deployment();
}

void PhaseDetector::tick(std::int64_t t_ns) {
    t_now_ns_ = std::max(t_now_ns_, t_ns);
    if (!barometer_alive()) watch_landing();
    watch_silence();
}

} // namespace turnstone
