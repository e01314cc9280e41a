#include "server/analysis/charge/edge.hpp"

#include <Eigen/Core>
#include <Eigen/LU>

#include "shared/constants.hpp"

namespace turnstone::analysis {

namespace {

constexpr std::size_t kLevelReadings = 8;
constexpr double kModelError = 0.12; ///< of a reading beyond the level, against a straight line
constexpr double kLeftOut = 0.08;    ///< of the excursion: what else moves the signal
constexpr double kFoot = 0.3;        ///< of the excursion: readings up to here may still be of the level
constexpr double kSteep = 0.75;      ///< of the reading after it: what rises more slowly is not part of it
constexpr double kRiseSigma = 0.10;  ///< of the time from the edge to half of the excursion
constexpr std::size_t kSteps = 200;

/// The mean over the `width` that end at `t` of what rises from `edge` on with slope one.
double ramp(double t, double edge, double width) {
    const auto half_square = [](double x) { return x > 0 ? 0.5 * x * x : 0.0; };
    return width > 0 ? (half_square(t - edge) - half_square(t - width - edge)) / width : std::max(0.0, t - edge);
}

/// What the readings are held against.
struct Hypothesis {
    std::span<const Reading> readings;
    double level_end_s; ///< later readings are beyond the level
    double mean_over_s;
    double sign, level;
    double noise; ///< of every reading, with what is left out
};

/// Logarithm of the likelihood that the edge is there, level and slope taken out.
double log_likelihood(const Hypothesis& fit, double edge_s) {
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    double square_sum = 0;
    for (const Reading& reading : fit.readings) {
        const double y = fit.sign * (reading.value - fit.level);
        const double sigma = std::hypot(fit.noise, reading.t_s > fit.level_end_s ? kModelError * y : 0.0);
        const Eigen::Vector2d row(1.0, ramp(reading.t_s, edge_s, fit.mean_over_s));
        normal += row * row.transpose() / (sigma * sigma);
        right += row * y / (sigma * sigma);
        square_sum += y * y / (sigma * sigma);
    }
    const double determinant = normal.determinant();
    if (!(determinant > 0)) return -kInfinity;
    const Eigen::Vector2d best = normal.inverse() * right;
    if (!(best.y() > 0)) return -kInfinity;
    // A slope of unknown size: as likely from 1 to 2 as from 2 to 4.
    return -0.5 * (square_sum - right.dot(best)) - 0.5 * std::log(determinant) - std::log(best.y());
}

} // namespace

Edge find_edge(const Signal& signal, double from_s, double until_s, double sign, const Excursion& of) {
    const auto all = signal.between(from_s, until_s);
    const auto size = [&](const Reading& reading) { return sign * (reading.value - of.level); };
    double peak = 0;
    for (const Reading& reading : all) peak = std::max(peak, size(reading));
    if (!(peak >= of.threshold) || !(peak > 0)) return {};
    const auto first =
        std::find_if(all.begin(), all.end(), [&](const Reading& r) { return size(r) >= of.least(peak); });
    if (first == all.end()) return {};
    // Its own top: what follows is less than half of it, or the end.
    auto top = first;
    for (auto at = first; at != all.end() && size(*at) > 0.5 * size(*top); ++at)
        if (size(*at) > size(*top)) top = at;
    const auto half =
        std::find_if(all.begin(), top, [&](const Reading& r) { return &r >= &*first && size(r) >= 0.5 * size(*top); });
    // Back along its foot; the readings before that show the level.
    const double foot = std::max(2.5 * of.noise, kFoot * size(*top));
    auto begin = first;
    while (begin != all.begin() && size(*(begin - 1)) >= foot && size(*(begin - 1)) <= kSteep * size(*begin)) --begin;
    auto level = begin;
    for (std::size_t k = 0; k < kLevelReadings && level != all.begin(); ++k, --level)
        if (k >= 2 && std::abs(size(*(level - 1))) > std::max(3 * of.noise, kFoot * size(*top))) break;
    const double level_end_s = level != begin ? (begin - 1)->t_s : begin->t_s - std::max(signal.mean_over_s, 1e-9);
    const Hypothesis fit{.readings = {level, half + 1},
                         .level_end_s = level_end_s,
                         .mean_over_s = signal.mean_over_s,
                         .sign = sign,
                         .level = of.level,
                         .noise = std::hypot(of.noise, kLeftOut * size(*top))};

    // It may hide in the noise of the last reading at the level.
    const double low_s = (begin - level >= 2 ? (begin - 2)->t_s : level_end_s) - signal.mean_over_s;
    const double high_s = half->t_s;
    const double step_s = (high_s - low_s) / kSteps;
    std::vector<double> logs(kSteps);
    double greatest = -kInfinity;
    for (std::size_t k = 0; k < kSteps; ++k) {
        const double edge_s = low_s + (static_cast<double>(k) + 0.5) * step_s;
        logs[k] = log_likelihood(fit, edge_s);
        greatest = std::max(greatest, logs[k]);
    }
    if (!(greatest > -kInfinity)) return {};
    double sum = 0, mean = 0, square = 0;
    for (std::size_t k = 0; k < kSteps; ++k) {
        const double edge_s = low_s + (static_cast<double>(k) + 0.5) * step_s - high_s;
        const double weight = std::exp(logs[k] - greatest);
        sum += weight;
        mean += weight * edge_s;
        square += weight * edge_s * edge_s;
    }
    if (!(sum > 0)) return {};
    mean /= sum;
    const double variance = std::max(0.0, square / sum - mean * mean);
    return {high_s + mean, std::hypot(std::sqrt(variance), kRiseSigma * std::max(0.0, -mean))};
}

} // namespace turnstone::analysis
