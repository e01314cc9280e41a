#include "server/analysis/charge/survival.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>

#include "server/analysis/statistics/distribution.hpp"
#include "server/analysis/statistics/power.hpp"
#include "shared/constants.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kCertain = 0.001;
constexpr std::size_t kEnough = 8; ///< readings on each side
constexpr double kDeadFraction = 0.1;
/// Offsets alone point to no other direction than this: farther aside, the sign of an axis is asked for.
constexpr double kTurned_rad = 0.35;
/// Offsets lie along other axes after a turn and may change the length by twice their size; no turn changes it by more.
constexpr double kNoTurn_mps2 = 1.5;
/// Constant offset of each axis (common practice, no source): it stays with the body when gravity does not.
constexpr double kOffset_mps2 = 0.3;
const Turn kNotTurned{Eigen::Quaterniond::Identity(), 0};
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

/// What constant offsets do to the force when the body turned, 1-sigma along any axis.
double offsets_of(double turned_rad) {
    return 2 * std::sin(0.5 * turned_rad) * kOffset_mps2;
}

/// Where gravity is against where the turn puts it.
struct Aside {
    double angle_rad, across_mps2;
    double noise_mps2;
    double sigma_mps2; ///< about each of two axes, with the noise

    /// Chance that the turn's error, constant offsets and noise point it so far aside: Rayleigh's.
    [[nodiscard]] double p() const { return std::exp(-0.5 * std::pow(across_mps2 / sigma_mps2, 2)); }
    [[nodiscard]] bool is_certain() const { return across_mps2 > kAccelerometer.shift && p() < kCertain; }
    /// The change that is_certain() in four of five.
    [[nodiscard]] double least_mps2() const {
        const double critical = std::max(std::sqrt(-2 * std::log(kCertain)), kAccelerometer.shift / sigma_mps2);
        return sigma_mps2 * least_detectable_in_plane(critical);
    }
};

Aside aside(const Eigen::Vector3d& was, const Eigen::Vector3d& is, const Turn& turn, double noise_mps2) {
    const double angle_rad = angle_between(was, turn.before_from_after * is);
    const double turned_rad = Eigen::Quaterniond::Identity().angularDistance(turn.before_from_after);
    return {angle_rad, angle_rad * was.norm(), noise_mps2,
            std::hypot(turn.sigma_rad * was.norm(), offsets_of(turned_rad), noise_mps2)};
}

/// The change across gravity that makes it longer by more than its tolerance and chance.
double least_by_length(const Survival& lengths, double gravity_mps2) {
    const double longer = std::max(kAccelerometer.shift, quantile(Normal(), 1 - 0.5 * kCertain) * lengths.shift_sigma) +
                          quantile(Normal(), 0.8) * lengths.shift_sigma;
    return std::sqrt(longer * (longer + 2 * gravity_mps2));
}

/// For a force that points where the turn does not explain it.
void take_direction(const Eigen::Vector3d& was, const Eigen::Vector3d& is, const Turn& turn, const Aside& found,
                    double length_sigma, Survival& out) {
    out.shift = (turn.before_from_after * is - was).norm();
    out.shift_sigma = std::hypot(found.sigma_mps2, length_sigma);
    out.shift_p = found.p();
    out.effect = out.least_shift = kNone;
    out.state = SensorState::offset;
    if (found.angle_rad <= kTurned_rad) return;
    out.state = SensorState::disagrees;
    for (int axes = 1; axes < 8; ++axes) {
        Eigen::Vector3d other = is;
        for (Eigen::Index k = 0; k < 3; ++k)
            if ((axes >> k & 1) != 0) other[k] = -other[k];
        const Aside left = aside(was, other, turn, found.noise_mps2);
        if (left.angle_rad <= kTurned_rad || !left.is_certain()) out.state = SensorState::inverted;
    }
}

/// Of the mean of an axis against its mean before, the largest.
double worst_sigma(const Axes& before, const Axes& after) {
    double out = 0;
    for (std::size_t k = 0; k < 3; ++k) out = std::max(out, measure(before[k], after[k]).shift_sigma);
    return out;
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
    const double by_turn_mps2 = quantile(Normal(), 1 - 0.5 * kCertain) * offsets_of(angle_between(was, is));
    if (rested && (!is_turned || std::abs(lengths.shift) > std::max(kNoTurn_mps2, by_turn_mps2))) out = lengths;
    take_worst_noise(before, after, out);
    if (!rested) return out;
    const Aside from_there = aside(was, is, turn.value_or(kNotTurned), worst_sigma(before, after));
    if (turn || !is_turned) out.least_across = least_by_length(lengths, was.norm());
    if (turn) out.least_across = std::min(out.least_across, from_there.least_mps2());
    if (turn && from_there.is_certain()) {
        take_direction(was, is, *turn, from_there, lengths.shift_sigma, out);
        return out;
    }
    out.state = diagnose(out, kAccelerometer);
    if (out.state == SensorState::offset) {
        constexpr double kAlong = 0.98; // of the change
        if (std::abs(change.dot(was)) > kAlong * change.norm() * was.norm()) out.state = SensorState::scale;
    }
    const bool can_tell =
        turn ? !is_turned || off_gravity(is) <= off_gravity(was) + kAccelerometer.shift : !from_there.is_certain();
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
