#include "server/estimate/phases/evidence.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kAlive_s = 1.0; ///< a sensor heard of within this is alive
constexpr double kBarometerDead_s = 10.0;
constexpr double kRestRate_radps = 0.08; ///< mean magnitude: gyro bias and noise, no swinging
constexpr double kCalmForce_mps2 = 1.2;
constexpr double kShock_mps2 = 25.0;
constexpr double kShockSplit_s = 0.06;
constexpr double kSuddenly_mps2 = 15.0; ///< within kShockBefore_s
constexpr double kShockBefore_s = 0.1;
constexpr double kShockSigmaMin_s = 0.002;
constexpr double kPulseSplit_s = 0.5;
constexpr double kFadeLeast_s = 0.3;
constexpr double kSeenGap_s = 0.06;
constexpr double kLostPacket_s = 0.012;
constexpr double kHeardAgain = 3.5; ///< periods: two samples in a row may be lost
constexpr double kFixSpeed_mps = 1.0;
constexpr double kFixSigmas = 5.0;
constexpr double kFixDistance_m = 5.0;
constexpr double kFixUsable_m = 25.0; ///< a fix less exact than this says nothing of rest
constexpr double kFixesGone_s = 2.5;
constexpr double kFixSettles_s = 3.0; ///< after a loss, and from the last fast fix to rest
constexpr double kStandFollows_s = 60.0;

double shortest_recent(double period_s, double since_s) {
    return period_s == 0.0 ? since_s : std::min(since_s, 1.02 * period_s);
}

} // namespace

double Force::size_mps2() const noexcept {
    return std::isfinite(magnitude_mps2) ? magnitude_mps2 : std::fabs(axial_mps2);
}

FlightEvidence::FlightEvidence(const PhaseSettings& settings) : settings_(settings) {}

void FlightEvidence::pass_time(std::int64_t t_ns) noexcept {
    now_ns_ = std::max(now_ns_, t_ns);
}

void FlightEvidence::hear(std::int64_t t_ns) noexcept {
    pass_time(t_ns);
    heard_ns_ = std::max(heard_ns_, t_ns);
}

bool FlightEvidence::add(const Force& force) {
    if (!std::isfinite(force.axial_mps2) || (!forces_.empty() && force.t_ns <= forces_.back().t_ns)) return false;
    hear(force.t_ns);
    if (!forces_.empty())
        force_period_s_ = shortest_recent(force_period_s_, seconds_between(forces_.back().t_ns, force.t_ns));
    forces_.push(force);
    return true;
}

bool FlightEvidence::add(const HeightPoint& height) {
    if (!std::isfinite(height.above_pad_m) || !(height.sigma_m > 0.0)) return false;
    if (!heights_.empty() && height.t_ns <= heights_.back().t_ns) return false;
    hear(height.t_ns);
    if (!heights_.empty())
        height_period_s_ = shortest_recent(height_period_s_, seconds_between(heights_.back().t_ns, height.t_ns));
    heights_.push(height);
    return true;
}

bool FlightEvidence::add(const VerticalEstimate& e) {
    if (!e.valid || (!speeds_.empty() && e.t_ns <= speeds_.back().t_ns)) return false;
    speeds_.push({e.t_ns, e.vertical_speed_mps, e.vertical_speed_sigma_mps, e.acceleration_mps2, e.altitude_m,
                  e.altitude_sigma_m});
    return true;
}

bool FlightEvidence::add(const FixPoint& fix) {
    Stand& stand = stand_;
    if (fix.t_ns <= stand.t_fix_ns) return false;
    hear(fix.t_ns);
    const bool gap = stand.t_fix_ns == 0 || seconds_between(stand.t_fix_ns, fix.t_ns) > kFixesGone_s;
    if (gap) {
        stand.since_ns = fix.t_ns;
        stand.fast = 0;
    }
    const double step_s = gap ? 0.0 : seconds_between(stand.t_fix_ns, fix.t_ns);
    stand.t_fix_ns = fix.t_ns;
    const bool usable = std::isfinite(fix.east_m) && std::isfinite(fix.north_m) && fix.sigma_m < kFixUsable_m;
    // A receiver that has just found its fix is not to be believed.
    if (!usable || (stand.placed && seconds_between(stand.since_ns, fix.t_ns) < kFixSettles_s)) return true;
    if (!stand.placed) {
        stand.placed = true;
        stand.east_m = fix.east_m;
        stand.north_m = fix.north_m;
    }
    const double away_m = std::hypot(fix.east_m - stand.east_m, fix.north_m - stand.north_m);
    const double fast_mps = std::max(kFixSpeed_mps, kFixSigmas * fix.speed_sigma_mps);
    const bool fast = fix.speed_mps > fast_mps || away_m > kFixDistance_m + kFixSigmas * fix.sigma_m;
    stand.fast = fast ? stand.fast + 1 : 0;
    if (stand.fast >= 2) stand.moves = true;
    if (fix.speed_mps > fast_mps || stand.t_fast_ns == 0) stand.t_fast_ns = fix.t_ns;
    const bool slow = std::isnan(fix.speed_mps) || fix.speed_mps <= fast_mps;
    if (stand.moves && slow && seconds_between(stand.t_fast_ns, fix.t_ns) > kFixSettles_s) {
        stand.moves = false;
        stand.fast = 0;
        stand.east_m = fix.east_m;
        stand.north_m = fix.north_m;
    }
    if (!stand.moves) {
        const double part = -std::expm1(-step_s / kStandFollows_s);
        stand.east_m += part * (fix.east_m - stand.east_m);
        stand.north_m += part * (fix.north_m - stand.north_m);
    }
    return true;
}

bool FlightEvidence::moves_by_fixes() const noexcept {
    return stand_.moves && seconds_between(stand_.t_fix_ns, now_ns_) < kFixesGone_s;
}

double FlightEvidence::window_s(double least_s, double heights) const noexcept {
    return std::max(least_s, heights * height_period_s_);
}

int FlightEvidence::heights_in(double window_s, int most) const noexcept {
    if (height_period_s_ <= 0.0) return most;
    // Half of them may be lost.
    return std::clamp(static_cast<int>(0.5 * window_s / height_period_s_), 3, std::max(3, most));
}

double FlightEvidence::fade_s() const noexcept {
    return std::max(kFadeLeast_s, kHeardAgain * (forces_.empty() ? height_period_s_ : force_period_s_));
}

double FlightEvidence::seen_gap_s() const noexcept {
    return std::max(kSeenGap_s, 2.5 * force_period_s_);
}

double FlightEvidence::lost_packet_s() const noexcept {
    return std::max(kLostPacket_s, 1.5 * force_period_s_);
}

double FlightEvidence::rest_force_mps2(double least_mps2) const noexcept {
    return std::max(least_mps2, 3.0 * std::hypot(settings_.accel_bias_mps2, settings_.accel_noise_mps2));
}

void FlightEvidence::look_for_shock(bool in_drag) {
    const Force& force = forces_.back();
    const double size = force.size_mps2();
    if (size < std::max(kShock_mps2, 2.5 * rest_force_mps2(0.0)) || forces_.size() < 2) return;
    const std::size_t earlier = std::min(forces_.since(force.t_ns - seconds_to_ns(kShockBefore_s)), forces_.size() - 2);
    const double old_size = forces_[earlier].size_mps2();
    if (!shocks_.empty() && seconds_between(shocks_.back().t_last_ns, force.t_ns) < kShockSplit_s) {
        Shock last = shocks_.back();
        last.t_last_ns = force.t_ns;
        shocks_.replace_back(last);
        return;
    }
    if (in_drag && size - old_size < kSuddenly_mps2) return;
    // Onset: back through the samples until the force is as before.
    std::size_t onset = forces_.size() - 1;
    for (std::size_t i = forces_.size(); i-- > earlier;) {
        if (std::fabs(forces_[i].size_mps2() - old_size) < 4.0 + 3.0 * settings_.accel_noise_mps2) break;
        onset = i;
    }
    const double spacing_s = onset > 0 ? seconds_between(forces_[onset - 1].t_ns, forces_[onset].t_ns) : 0.0;
    shocks_.push({forces_[onset].t_ns - seconds_to_ns(0.5 * spacing_s), force.t_ns,
                  std::max(kShockSigmaMin_s, spacing_s / std::sqrt(12.0))});
}

bool FlightEvidence::add_pulse(std::int64_t t_ns) {
    if (!shocks_.empty() && t_ns <= shocks_.back().t_last_ns + seconds_to_ns(kPulseSplit_s)) return false;
    // It is one of the last heights, and rose since the one before that was received.
    const std::size_t i = heights_.since(t_ns);
    const double spacing_s = i > 0 && i < heights_.size() ? seconds_between(heights_[i - 1].t_ns, t_ns) : 0.1;
    shocks_.push({t_ns - seconds_to_ns(0.5 * spacing_s), t_ns, spacing_s / std::sqrt(12.0)});
    return true;
}

bool FlightEvidence::barometer_alive() const noexcept {
    return !heights_.empty() &&
           seconds_between(heights_.back().t_ns, now_ns_) < std::max(kAlive_s, kHeardAgain * height_period_s_);
}

bool FlightEvidence::barometer_gone() const noexcept {
    return heights_.empty() || seconds_between(heights_.back().t_ns, now_ns_) > kBarometerDead_s;
}

bool FlightEvidence::inertial_alive() const noexcept {
    return !forces_.empty() &&
           seconds_between(forces_.back().t_ns, now_ns_) < std::max(kAlive_s, kHeardAgain * force_period_s_);
}

/// Whether so many inertial samples are enough to speak for a window.
bool FlightEvidence::fills(std::size_t count, double window_s) const noexcept {
    const double most = force_period_s_ > 0.0 ? 0.5 * window_s / force_period_s_ : 10.0;
    return static_cast<double>(count) >= std::clamp(most, 3.0, 10.0);
}

bool FlightEvidence::inertial_at_rest(double window_s, double spread_mps2) const {
    const std::size_t first = forces_.since(now_ns_ - seconds_to_ns(window_s));
    const std::size_t count = forces_.size() - first;
    if (!fills(count, window_s) || seconds_between(forces_[first].t_ns, now_ns_) < 0.8 * window_s) return false;
    double sum = 0.0;
    double squares = 0.0;
    double rates = 0.0; // NaN without a gyro
    bool all_axes = true;
    for (std::size_t i = first; i < forces_.size(); ++i) {
        all_axes = all_axes && std::isfinite(forces_[i].magnitude_mps2);
        const double f = all_axes ? forces_[i].magnitude_mps2 : forces_[i].axial_mps2;
        sum += f;
        squares += f * f;
        rates += forces_[i].lateral_rate_radps;
    }
    const double n = static_cast<double>(count);
    const double mean = sum / n;
    if (rates / n > kRestRate_radps) return false;
    const double spread = std::sqrt(std::max(0.0, squares / n - mean * mean));
    if (spread > spread_mps2 + 2.0 * settings_.accel_noise_mps2) return false;
    return !all_axes || std::fabs(mean - settings_.gravity_mps2) < rest_force_mps2(kCalmForce_mps2);
}

bool FlightEvidence::hangs() const {
    const std::size_t first = forces_.since(now_ns_ - seconds_to_ns(2.0));
    const std::size_t count = forces_.size() - first;
    if (!fills(count, 2.0) || seconds_between(forces_[first].t_ns, now_ns_) < 1.6) return false;
    double sum = 0.0;
    for (std::size_t i = first; i < forces_.size(); ++i) sum += forces_[i].magnitude_mps2;
    const double gravity = settings_.gravity_mps2;
    return std::fabs(sum / static_cast<double>(count) - gravity) < 0.2 * gravity;
}

double FlightEvidence::mean_rate_radps(std::int64_t from_ns, std::int64_t to_ns) const {
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = forces_.since(from_ns); i < forces_.size() && forces_[i].t_ns <= to_ns; ++i) {
        sum += forces_[i].lateral_rate_radps;
        ++count;
    }
    return sum / count;
}

std::optional<double> FlightEvidence::mean_height_m(std::int64_t from_ns, std::int64_t to_ns) const {
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        sum += heights_[i].above_pad_m;
        ++count;
    }
    if (count == 0) return std::nullopt;
    return sum / count;
}

std::optional<Line> FlightEvidence::line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const {
    double n = 0, st = 0, sh = 0, stt = 0, sth = 0, shh = 0;
    for (std::size_t i = heights_.since(from_ns); i < heights_.size() && heights_[i].t_ns <= to_ns; ++i) {
        const double t = seconds_between(to_ns, heights_[i].t_ns);
        const double h = heights_[i].above_pad_m;
        n += 1, st += t, sh += h, stt += t * t, sth += t * h, shh += h * h;
    }
    if (n < 3) return std::nullopt;
    const double det = n * stt - st * st;
    if (det <= 1e-9) return std::nullopt;
    const double slope = (n * sth - st * sh) / det;
    const double value = (sh - slope * st) / n;
    const double residual = shh - value * sh - slope * sth;
    return Line{value, slope, std::sqrt(std::max(0.0, residual / n)), static_cast<int>(n)};
}

std::optional<TimeEstimate> FlightEvidence::fade_between(std::int64_t from_ns, std::int64_t to_ns) const {
    const auto search = [&](const auto& samples) -> std::optional<TimeEstimate> {
        for (std::size_t i = std::max<std::size_t>(samples.since(from_ns), 1);
             i < samples.size() && samples[i - 1].t_ns < to_ns; ++i) {
            const double gap_s = seconds_between(samples[i - 1].t_ns, samples[i].t_ns);
            if (gap_s < fade_s()) continue;
            return TimeEstimate{samples[i - 1].t_ns + (samples[i].t_ns - samples[i - 1].t_ns) / 2,
                                gap_s / std::sqrt(12.0)};
        }
        return std::nullopt;
    };
    return forces_.empty() ? search(heights_) : search(forces_);
}

} // namespace turnstone::estimate
