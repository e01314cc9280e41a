// Back-dating: when a change that has been recognised began.
#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Dense>

#include "server/estimate/phase_detector.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kSeenGap_s = 0.06; ///< two packets of four samples at 200 Hz: still dated by the samples themselves

} // namespace

std::optional<Break> break_between_parabolas(const std::vector<double>& t_s, const std::vector<double>& y, bool kink) {
    constexpr std::size_t kMargin = 4;
    const std::size_t n = t_s.size();
    if (n < 12 || y.size() != n) return std::nullopt;
    const double middle_s = t_s[n / 2];
    using Basis = Eigen::Matrix<double, 5, 1>;
    const auto basis_at = [&](double time_s, double break_s) {
        const double t = time_s - middle_s;
        const double after = std::max(0.0, time_s - break_s);
        return Basis(1.0, t, t * t, after * after, kink ? after : 0.0);
    };
    const auto squares_at = [&](double break_s) {
        Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Zero();
        Basis right = Basis::Zero();
        for (std::size_t i = 0; i < n; ++i) {
            const Basis basis = basis_at(t_s[i], break_s);
            normal += basis * basis.transpose();
            right += basis * y[i];
        }
        if (!kink) normal(4, 4) = 1.0;
        const Basis fit = normal.ldlt().solve(right);
        double sum = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            const double e = y[i] - fit.dot(basis_at(t_s[i], break_s));
            sum += e * e;
        }
        return sum;
    };
    const double from_s = t_s[kMargin];
    const double to_s = t_s[n - 1 - kMargin];
    if (!(to_s > from_s)) return std::nullopt;
    constexpr int kGrid = 40;
    const double step_s = (to_s - from_s) / kGrid;
    int best = 0;
    double best_squares = std::numeric_limits<double>::infinity();
    for (int i = 0; i <= kGrid; ++i) {
        const double squares = squares_at(from_s + i * step_s);
        if (squares < best_squares) {
            best_squares = squares;
            best = i;
        }
    }
    const double t_best_s = from_s + best * step_s;
    const double left = squares_at(t_best_s - step_s);
    const double right = squares_at(t_best_s + step_s);
    const double curvature = (left - 2.0 * best_squares + right) / (step_s * step_s);
    const double variance = best_squares / static_cast<double>(n - 6);
    const double shift_s = curvature > 0.0 ? 0.5 * (left - right) / (curvature * step_s) : 0.0;
    const double sigma_s = curvature > 0.0 ? std::sqrt(2.0 * variance / curvature) : to_s - from_s;
    return Break{t_best_s + std::clamp(shift_s, -step_s, step_s), std::min(sigma_s, to_s - from_s)};
}

PhaseDetector::TimeEstimate PhaseDetector::thrust_onset() const {
    const double gap_s = seconds_between(thrust_.t_before_ns, thrust_.t_first_ns);
    if (gap_s > kSeenGap_s && barometer_alive() && std::isfinite(thrust_.start_height_m)) {
        // Thrust began unseen. Uniform acceleration from then to now: rise = a t^2 / 2.
        const double duration_s = seconds_between(thrust_.t_first_ns, thrust_.t_last_ns);
        const double accel = duration_s > 0.0 ? thrust_.gained_mps / duration_s : 50.0;
        const std::int64_t newest_ns = heights_.back().t_ns;
        const auto risen = mean_height(newest_ns - seconds_to_ns(0.1), newest_ns);
        const double rise_m = std::max(0.0, risen.value_or(0.0) - thrust_.start_height_m);
        const double ago_s = std::sqrt(2.0 * rise_m / std::max(accel, 5.0)) + 0.03;
        const std::int64_t t_ns =
            std::clamp(newest_ns - seconds_to_ns(ago_s), thrust_.t_before_ns, thrust_.t_first_ns);
        return {t_ns, std::clamp(0.15 * ago_s, 0.03, gap_s)};
    }
    if (gap_s > kSeenGap_s) return {(thrust_.t_before_ns + thrust_.t_first_ns) / 2, gap_s / std::sqrt(12.0)};
    // Slow ramps begin below the threshold: back while the force is above rest.
    std::size_t i = forces_.since(thrust_.t_first_ns);
    const double rest = rest_axial_mps2_ + std::max(1.0, 4.0 * settings_.accel_noise_mps2);
    while (i > 0 && forces_[i - 1].axial_mps2 > rest &&
           seconds_between(forces_[i - 1].t_ns, forces_[i].t_ns) < kSeenGap_s) {
        --i;
    }
    const double spacing_s = i > 0 ? seconds_between(forces_[i - 1].t_ns, forces_[i].t_ns) : gap_s;
    return {forces_[i].t_ns - seconds_to_ns(0.5 * spacing_s), std::max(0.003, spacing_s / std::sqrt(12.0))};
}

PhaseDetector::TimeEstimate PhaseDetector::climb_onset() const {
    // Root of height against time is a straight line in uniform acceleration from rest; its zero is the onset.
    std::size_t first = heights_.size();
    while (first > 0 && heights_[first - 1].above_pad_m > std::max(2.0, 5.0 * heights_[first - 1].sigma_m)) --first;
    if (first == heights_.size()) return {t_now_ns_, 1.0};
    const std::int64_t t_first_ns = heights_[first].t_ns;
    const std::int64_t t_before_ns = first > 0 ? heights_[first - 1].t_ns : t_first_ns - seconds_to_ns(5.0);
    const double gap_s = seconds_between(t_before_ns, t_first_ns);
    double n = 0, st = 0, sr = 0, stt = 0, str = 0;
    for (std::size_t i = first; i < heights_.size() && seconds_between(t_first_ns, heights_[i].t_ns) < 0.8; ++i) {
        const double t = seconds_between(t_first_ns, heights_[i].t_ns);
        const double root = std::sqrt(heights_[i].above_pad_m);
        n += 1, st += t, sr += root, stt += t * t, str += t * root;
    }
    const double det = n * stt - st * st;
    const double slope = det > 0.0 ? (n * str - st * sr) / det : 0.0;
    const double value = (sr - slope * st) / std::max(n, 1.0);
    const double ago_s = slope > 0.5 ? value / slope : gap_s / 2.0;
    // With a sample before the climb the onset is near it; thrust that started in a gap is dated inside it.
    const std::int64_t earliest_ns = gap_s > 0.3 ? t_before_ns : t_before_ns - seconds_to_ns(0.5);
    const std::int64_t t_ns = std::clamp(t_first_ns - seconds_to_ns(ago_s), earliest_ns, t_first_ns);
    return {t_ns, gap_s > 0.3 ? std::max(0.1, 0.2 * gap_s) : 0.06};
}

/// Thrust ended while nothing was received. Speeds before and after, each with its acceleration, say when.
PhaseDetector::TimeEstimate PhaseDetector::thrust_end_in_gap(std::int64_t before_ns, std::size_t crossed) const {
    const std::int64_t crossed_ns = forces_[crossed].t_ns;
    const std::int64_t from_ns = std::max(before_ns, phase_began_ns_);
    const double gap_s = seconds_between(from_ns, crossed_ns);
    const auto after = line_through_heights(crossed_ns, t_now_ns_);
    if (!after || after->points < 4 || after->speed_mps < 5.0) {
        return {from_ns + (crossed_ns - from_ns) / 2, gap_s / std::sqrt(12.0)};
    }
    double ended_s = 0.0; // after from_ns
    const double now_s = seconds_between(from_ns, t_now_ns_);
    const std::size_t k = speeds_.since(before_ns + 1);
    if (before_ns > phase_began_ns_ && k > 0) {
        const SpeedPoint& before = speeds_[k - 1];
        const double after_mps2 = forces_[crossed].axial_mps2 - settings_.gravity_mps2;
        const double change = before.accel_mps2 - after_mps2;
        if (change < 10.0) return {from_ns + (crossed_ns - from_ns) / 2, gap_s / std::sqrt(12.0)};
        ended_s = (after->speed_mps - before.speed_mps - after_mps2 * now_s) / change;
    } else {
        // All of the thrust was missed: uniform acceleration to today's speed, then about that speed.
        ended_s = 2.0 * (now_s - after->height_m / after->speed_mps);
    }
    return {from_ns + seconds_to_ns(std::clamp(ended_s, 0.0, gap_s)), std::max(0.06, 0.15 * gap_s)};
}

PhaseDetector::TimeEstimate PhaseDetector::thrust_end(std::int64_t crossed_ns) const {
    const std::size_t crossed = forces_.since(crossed_ns);
    if (crossed >= forces_.size()) return {crossed_ns, 0.1};
    if (crossed > 0) {
        const std::int64_t before_ns = forces_[crossed - 1].t_ns;
        const double gap_s = seconds_between(before_ns, crossed_ns);
        if (gap_s > kSeenGap_s) return thrust_end_in_gap(before_ns, crossed);
    }
    // The tail of thrust crosses zero net axial force before it ends; it ends where the force settles on drag alone.
    double sum = 0.0;
    int count = 0;
    for (std::size_t i = forces_.since(crossed_ns + seconds_to_ns(0.09)); i < forces_.size(); ++i) {
        sum += forces_[i].axial_mps2;
        ++count;
    }
    if (count == 0) return {crossed_ns, 0.05};
    const double drag = sum / count;
    const double near = drag + std::max(0.8, 3.0 * settings_.accel_noise_mps2);
    std::size_t i = crossed;
    while (i + 1 < forces_.size() && forces_[i].axial_mps2 > near) ++i;
    return {forces_[i].t_ns, 0.02};
}

PhaseDetector::TimeEstimate PhaseDetector::main_onset() const {
    std::vector<double> t_s;
    std::vector<double> height_m;
    for (std::size_t i = heights_.since(t_now_ns_ - seconds_to_ns(4.0)); i < heights_.size(); ++i) {
        t_s.push_back(seconds_between(t_now_ns_, heights_[i].t_ns));
        height_m.push_back(heights_[i].above_pad_m);
    }
    TimeEstimate when{t_now_ns_ - seconds_to_ns(1.5), 0.7};
    if (const auto found = break_between_parabolas(t_s, height_m, false)) {
        when = {t_now_ns_ + seconds_to_ns(found->t_s), std::max(0.2, found->sigma_s)};
    }
    const std::size_t after = heights_.since(when.t_ns);
    if (after > 0 && after < heights_.size()) {
        when.sigma_s = std::max(when.sigma_s, seconds_between(heights_[after - 1].t_ns, heights_[after].t_ns) / 2.0);
    }
    // The charge fires before the canopy pulls: the first shock or pulse of the newest group that began near the break.
    const std::size_t from = shocks_.since(std::max(when.t_ns - seconds_to_ns(2.5), phase_began_ns_ + seconds_to_ns(1.0)));
    for (std::size_t i = from; i < shocks_.size(); ++i) {
        if (shocks_[i].t_ns <= when.t_ns + seconds_to_ns(1.5)) return {shocks_[i].t_ns, 0.02};
    }
    return when;
}

PhaseDetector::TimeEstimate PhaseDetector::touch_down(double ground_m) const {
    std::size_t i = heights_.size();
    const double near_m = 1.5 + 3.0 * heights_.back().sigma_m;
    while (i > 0 && std::fabs(heights_[i - 1].above_pad_m - ground_m) < near_m) --i;
    const std::int64_t near_ns = i < heights_.size() ? heights_[i].t_ns : t_now_ns_;
    // The impact, if it was felt.
    for (std::size_t k = shocks_.since(near_ns - seconds_to_ns(1.0)); k < shocks_.size(); ++k) {
        if (seconds_between(near_ns, shocks_[k].t_ns) < 2.0) return {shocks_[k].t_ns, 0.02};
    }
    const double gap_s = i > 0 ? seconds_between(heights_[i - 1].t_ns, near_ns) : 0.0;
    const auto descent = line_through_heights(near_ns - seconds_to_ns(4.0), near_ns);
    if (descent && descent->speed_mps < -1.0) {
        const double to_ground_s = std::clamp((ground_m - descent->height_m) / descent->speed_mps, 0.0, 2.0);
        return {near_ns + seconds_to_ns(to_ground_s), std::max(0.2, gap_s / 3.0)};
    }
    return {near_ns, std::max(0.5, gap_s / 3.0)};
}

} // namespace turnstone
