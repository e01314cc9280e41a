#include "server/analysis/charge/survival.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>

#include "server/analysis/statistics/power.hpp"
#include "shared/constants.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kCertain = 0.001;
constexpr std::size_t kEnough = 8; ///< readings on each side
constexpr double kDeadFraction = 0.1;
/// Farther over, an accelerometer's own offset reads as a shift. Offsets alone point to no other direction than this.
constexpr double kTurned_rad = 0.35;
/// Offsets lie along other axes after a turn and may change the length by twice their size; no turn changes it by more.
constexpr double kNoTurn_mps2 = 1.5;
/// What constant offsets of 0.3 m/s2 (common practice, no source) do to a direction that is turned over.
constexpr double kOffsets_rad = 0.06;
/// Known worse, a turn tells no direction from another.
constexpr double kTold_rad = 0.15;

/// Correlation of neighbours, at least 0.
double neighbours(std::span<const double> values, const Summary& summary) {
    double sum = 0, square_sum = 0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        const double d = values[i] - summary.mean;
        square_sum += d * d;
        if (i > 0) sum += d * (values[i - 1] - summary.mean);
    }
    return square_sum > 0 ? std::clamp(sum / square_sum, 0.0, 0.98) : 0.0;
}

/// The same, worth as many readings as are independent.
Summary discounted(Summary summary, double correlation) {
    const double worth = static_cast<double>(summary.count) * (1 - correlation) / (1 + correlation);
    summary.count = static_cast<std::size_t>(std::max(2.0, worth));
    return summary;
}

std::vector<double> thinned(std::span<const double> values, double correlation) {
    const auto step = static_cast<std::size_t>(std::ceil((1 + correlation) / (1 - correlation) - 0.5));
    std::vector<double> out;
    for (std::size_t i = 0; i < values.size(); i += std::max<std::size_t>(step, 1)) out.push_back(values[i]);
    return out;
}

bool all_alike(std::span<const double> values) {
    return std::adjacent_find(values.begin(), values.end(), std::not_equal_to<>()) == values.end();
}

/// Numbers without a diagnosis.
Survival measure(std::span<const double> before, std::span<const double> after) {
    Survival out;
    const Summary first = summarise(before), last = summarise(after);
    // One correlation for both: fresh noise must not hide that of the sensor.
    const double correlation = 0.5 * (neighbours(before, first) + neighbours(after, last));
    const Summary a = discounted(last, correlation), b = discounted(first, correlation);
    const TTest test = welch_t(a, b);
    out.shift = test.difference;
    out.shift_sigma = test.standard_error;
    out.shift_p = test.p;
    out.effect = effect_size(a, b).hedges_g;
    const double pooled = std::sqrt(0.5 * (a.variance() + b.variance()));
    out.least_shift = pooled * least_detectable_effect(a.count, b.count);
    out.noise_ratio = last.sd / first.sd;
    out.noise_p = brown_forsythe(thinned(after, correlation), thinned(before, correlation)).p;
    return out;
}

/// Too few before: nothing can be said. Too few after, or one value: that is the diagnosis.
std::optional<SensorState> silent(std::span<const double> before, std::span<const double> after,
                                  double expected_after) {
    if (before.size() < kEnough || all_alike(before)) return SensorState::unknown;
    if (static_cast<double>(after.size()) < kDeadFraction * expected_after) return SensorState::dead;
    if (after.size() < kEnough) return SensorState::unknown;
    if (all_alike(after)) return SensorState::stuck;
    return std::nullopt;
}

SensorState diagnose(const Survival& found, const Tolerance& tolerance) {
    if (std::abs(found.shift) > tolerance.shift && found.shift_p < kCertain) return SensorState::offset;
    const bool other = found.noise_ratio > tolerance.noise_ratio || found.noise_ratio < 1 / tolerance.noise_ratio;
    if (other && found.noise_p < kCertain) return SensorState::noisy;
    return SensorState::well;
}

std::vector<double> norms(const Axes& axes) {
    std::vector<double> out(std::min({axes[0].size(), axes[1].size(), axes[2].size()}));
    for (std::size_t i = 0; i < out.size(); ++i) out[i] = std::hypot(axes[0][i], axes[1][i], axes[2][i]);
    return out;
}

Eigen::Vector3d means(const Axes& axes) {
    return {summarise(axes[0]).mean, summarise(axes[1]).mean, summarise(axes[2]).mean};
}

/// The axis with the least p, and its p for the choice among three.
void take_worst_noise(const Axes& before, const Axes& after, Survival& out) {
    out.noise_p = kNone;
    for (std::size_t k = 0; k < 3; ++k) {
        const Survival axis = measure(before[k], after[k]);
        if (out.noise_p <= axis.noise_p) continue;
        out.noise_p = axis.noise_p;
        out.noise_ratio = axis.noise_ratio;
    }
    out.noise_p = std::min(1.0, 3 * out.noise_p);
}

std::optional<SensorState> any_silent(const Axes& before, const Axes& after, double expected_after) {
    for (std::size_t k = 0; k < 3; ++k)
        if (const auto state = silent(before[k], after[k], expected_after)) return state;
    return std::nullopt;
}

double angle_between(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
    return std::atan2(a.cross(b).norm(), a.dot(b));
}

/// Chance that the turn's error and constant offsets point a vector so far aside: about each of two axes normal, so
/// together Rayleigh's.
double p_of_angle(double angle_rad, double sigma_rad) {
    const double ratio = angle_rad / std::hypot(sigma_rad, kOffsets_rad);
    return std::exp(-0.5 * ratio * ratio);
}

bool is_unexplained(const Eigen::Vector3d& was, const Eigen::Vector3d& is, const Turn& turn) {
    const double aside_rad = angle_between(was, turn.before_from_after * is);
    return aside_rad > kTurned_rad && p_of_angle(aside_rad, turn.sigma_rad) < kCertain;
}

/// For a force that points where the turn does not explain it.
void take_direction(const Eigen::Vector3d& was, const Eigen::Vector3d& is, const Turn& turn, double length_sigma,
                    Survival& out) {
    const Eigen::Vector3d back = turn.before_from_after * is;
    out.shift = (back - was).norm();
    out.shift_sigma = std::hypot(turn.sigma_rad * was.norm(), length_sigma);
    out.shift_p = p_of_angle(angle_between(was, back), turn.sigma_rad);
    out.effect = out.least_shift = kNone;
    out.state = SensorState::disagrees;
    for (int axes = 1; axes < 8; ++axes) {
        Eigen::Vector3d other = is;
        for (Eigen::Index k = 0; k < 3; ++k)
            if ((axes >> k & 1) != 0) other[k] = -other[k];
        if (!is_unexplained(was, other, turn)) out.state = SensorState::inverted;
    }
}

double off_gravity(const Eigen::Vector3d& force) {
    return std::abs(force.norm() - kGravityStandard_mps2);
}

} // namespace

Survival compare(std::span<const double> before, std::span<const double> after, double expected_after,
                 const Tolerance& tolerance) {
    if (const auto state = silent(before, after, expected_after)) return {.state = *state};
    Survival out = measure(before, after);
    out.state = diagnose(out, tolerance);
    return out;
}

Survival compare_accelerometer(const Axes& before, const Axes& after, double expected_after, std::optional<Turn> turn) {
    if (turn && !(turn->sigma_rad < kTold_rad)) turn.reset();
    if (const auto state = any_silent(before, after, expected_after)) return {.state = *state};
    const Eigen::Vector3d was = means(before), is = means(after), change = is - was;
    Survival out;
    const Survival lengths = measure(norms(before), norms(after));
    const bool rested = off_gravity(was) < kNoTurn_mps2, is_turned = angle_between(was, is) >= kTurned_rad;
    if (rested && (!is_turned || std::abs(lengths.shift) > kNoTurn_mps2)) out = lengths;
    take_worst_noise(before, after, out);
    if (!rested) return out;
    if (turn && is_unexplained(was, is, *turn)) {
        take_direction(was, is, *turn, lengths.shift_sigma, out);
        return out;
    }
    out.state = diagnose(out, kAccelerometer);
    if (out.state == SensorState::offset) {
        constexpr double kAlong = 0.98; // of the change
        if (std::abs(change.dot(was)) > kAlong * change.norm() * was.norm()) out.state = SensorState::scale;
    }
    const bool can_tell = !is_turned || (turn && off_gravity(is) <= off_gravity(was) + kAccelerometer.shift);
    if (out.state == SensorState::well && !can_tell) out.state = SensorState::unknown;
    return out;
}

Survival compare_gyro(const Axes& before, const Axes& after, double expected_after) {
    if (const auto state = any_silent(before, after, expected_after)) return {.state = *state};
    Survival out;
    for (std::size_t k = 0; k < 3; ++k) {
        const Survival axis = measure(before[k], after[k]);
        if (k == 0 || std::abs(axis.shift) > std::abs(out.shift)) out = axis;
    }
    out.shift_p = std::min(1.0, 3 * out.shift_p);
    take_worst_noise(before, after, out);
    out.state = diagnose(out, kGyro);
    return out;
}

} // namespace turnstone::analysis
