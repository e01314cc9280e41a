#include "server/analysis/alignment/alignment.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <vector>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "server/analysis/alignment/correlation.hpp"

namespace turnstone::analysis {

namespace {

constexpr std::size_t kRecordSamplesLeast = 20;
constexpr std::size_t kGridPointsMax = 1U << 21; ///< of one record: three hours at 190 Hz
constexpr double kGap_s = 0.5;                   ///< no value is made up over more
constexpr double kGapPeriods = 4;
constexpr double kOverlapPart = 0.5; ///< of the shorter record, that must be common
constexpr double kCorrelationLeast = 0.5;
constexpr double kRival = 0.98; ///< a second place as good as this part of the first is another answer
constexpr double kRivalAway_s = 1.0;
constexpr double kWidthsCompared = 3; ///< times the least sigma: those that know little say nothing of the others
/// To how much of a step of the coarser record an edge between two of its samples can be placed at best.
constexpr double kEdgeSteps = 0.03;
constexpr double kReachInWidths = 12;
constexpr int kLagRounds = 12;
constexpr double kStepLeast = 1e-3;                       ///< of the sigma: further rounds change nothing
constexpr double kWidthsInSteps[] = {0, 0.5, 1, 2, 4, 8}; ///< of the coarser record

double median_step_s(std::span<const double> t_s) {
    std::vector<double> steps;
    for (std::size_t i = 1; i < t_s.size(); ++i)
        if (t_s[i] > t_s[i - 1]) steps.push_back(t_s[i] - t_s[i - 1]);
    if (steps.empty()) return 0;
    std::ranges::nth_element(steps, steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2));
    return steps[steps.size() / 2];
}

double bridged_gap_s(double step_s) {
    return std::max(kGap_s, kGapPeriods * step_s);
}

/// Gaussian weights of `width` steps; places without a value stay without.
Grid gaussian_smoothed(const Grid& grid, double width) {
    if (width == 0) return grid;
    const auto reach = static_cast<std::ptrdiff_t>(std::ceil(3 * width));
    std::vector<double> weights;
    for (std::ptrdiff_t k = -reach; k <= reach; ++k) {
        const double away = static_cast<double>(k) / width;
        weights.push_back(std::exp(-0.5 * away * away));
    }
    Grid out(grid.size(), std::numeric_limits<double>::quiet_NaN());
    const auto size = static_cast<std::ptrdiff_t>(grid.size());
    for (std::ptrdiff_t i = reach; i + reach < size; ++i) {
        double sum = 0, weight = 0;
        for (std::ptrdiff_t k = -reach; k <= reach; ++k) {
            const double w = weights[static_cast<std::size_t>(k + reach)];
            sum += w * grid[static_cast<std::size_t>(i + k)]; // NaN spreads: no value near a gap
            weight += w;
        }
        out[static_cast<std::size_t>(i)] = sum / weight;
    }
    return out;
}

double slope_at(const Grid& grid, std::size_t i) {
    return i == 0 || i + 1 >= grid.size() ? std::numeric_limits<double>::quiet_NaN()
                                          : 0.5 * (grid[i + 1] - grid[i - 1]);
}

/// Value and slope per step at a place between the steps: cubic Hermite with central slopes.
struct ValueBetween {
    double value, slope;
};
ValueBetween value_between(const Grid& grid, double place) {
    constexpr double kNoValue = std::numeric_limits<double>::quiet_NaN();
    if (!(place >= 1) || !(place + 2 < static_cast<double>(grid.size()))) return {kNoValue, kNoValue};
    const auto i = static_cast<std::size_t>(place);
    const double u = place - static_cast<double>(i);
    const double a = grid[i], b = grid[i + 1], sa = slope_at(grid, i), sb = slope_at(grid, i + 1);
    const double c2 = 3 * (b - a) - 2 * sa - sb, c3 = 2 * (a - b) + sa + sb;
    return {a + u * (sa + u * (c2 + u * c3)), sa + u * (2 * c2 + u * 3 * c3)};
}

/// One row of the regression: what is left of the model, and the slopes of both records.
struct LeftOver {
    double value, model, model_slope, own_slope, away;
};

/// Sums of products, each with itself up to a lag: the variance of a sum of what is correlated with itself. A smoothing
/// of `width` steps correlates noise over some four of them, and the weights, which fall to nothing at the reach, must
/// leave that whole.
double long_run_product(const std::vector<double>& a, const std::vector<double>& b, double width) {
    const auto n = a.size();
    const auto reach =
        std::min(n, static_cast<std::size_t>(std::cbrt(static_cast<double>(n)) + kReachInWidths * width));
    double sum = 0;
    for (std::size_t i = 0; i < n; ++i) sum += a[i] * b[i];
    for (std::size_t lag = 1; lag <= reach; ++lag) {
        double at_lag = 0;
        for (std::size_t i = lag; i < n; ++i) at_lag += a[i] * b[i - lag] + a[i - lag] * b[i];
        sum += (1 - static_cast<double>(lag) / static_cast<double>(reach + 1)) * at_lag;
    }
    return sum;
}

struct LagFit {
    double lag, lag_sigma, rate, rate_sigma; ///< in steps
    double correlation;
    std::size_t samples;
    double middle;
};

/// Rows of `own`, one for each of its steps of `ratio` steps of `finer`, which is taken at place + lag + rate (place -
/// middle): places, lag and slopes are in its steps.
std::vector<LeftOver> rows_at(const Grid& own, const Grid& finer, double ratio, double lag, double rate,
                              double middle) {
    std::vector<LeftOver> rows;
    for (std::size_t i = 1; i + 1 < own.size(); ++i) {
        const double place = static_cast<double>(i) * ratio, away = place - middle;
        const ValueBetween model = value_between(finer, place + lag + rate * away);
        const double own_slope = slope_at(own, i) / ratio;
        if (!std::isfinite(own[i]) || !std::isfinite(own_slope) || !std::isfinite(model.value) ||
            !std::isfinite(model.slope))
            continue;
        rows.push_back({own[i], model.value, model.slope, own_slope, away});
    }
    return rows;
}

/// value = offset + gain model: the residuals, and the gain.
double take_out_scale(std::vector<LeftOver>& rows, double& correlation) {
    double n = static_cast<double>(rows.size()), v = 0, m = 0, vv = 0, mm = 0, vm = 0;
    for (const LeftOver& row : rows) v += row.value / n, m += row.model / n;
    for (const LeftOver& row : rows) {
        vv += (row.value - v) * (row.value - v);
        mm += (row.model - m) * (row.model - m);
        vm += (row.value - v) * (row.model - m);
    }
    const double gain = vm / mm;
    correlation = vm / std::sqrt(vv * mm);
    for (LeftOver& row : rows) row.value -= v + gain * (row.model - m);
    return gain;
}

/// `width`: of the smoothing that both went through, in own steps.
std::optional<LagFit> refine_lag(const Grid& own, const Grid& finer, double ratio, double lag, double rate_prior,
                                 double width) {
    double rate = 0, middle = 0;
    {
        double weight = 0;
        for (const LeftOver& row : rows_at(own, finer, ratio, lag, 0, 0)) { // where most happens
            const double w = row.own_slope * row.own_slope;
            middle += w * row.away;
            weight += w;
        }
        if (!(weight > 0)) return std::nullopt;
        middle /= weight;
    }
    std::vector<double> lag_scores, rate_scores;
    Eigen::Matrix2d prior = Eigen::Matrix2d::Zero(), inverse;
    LagFit out{};
    double variance = 0;
    for (int round = 0; round < kLagRounds; ++round) {
        std::vector<LeftOver> rows = rows_at(own, finer, ratio, lag, rate, middle);
        if (rows.size() < kRecordSamplesLeast) return std::nullopt;
        const double gain = take_out_scale(rows, out.correlation);
        Eigen::Matrix2d information = Eigen::Matrix2d::Zero();
        Eigen::Vector2d score = Eigen::Vector2d::Zero();
        double squares = 0;
        lag_scores.clear();
        rate_scores.clear();
        for (const LeftOver& row : rows) {
            const double slope = gain * row.model_slope;
            const Eigen::Vector2d regressor(1, row.away);
            information += slope * row.own_slope * regressor * regressor.transpose();
            score += slope * row.value * regressor;
            squares += row.value * row.value;
            lag_scores.push_back(slope * row.value);
            rate_scores.push_back(slope * row.value * row.away);
        }
        variance = squares / static_cast<double>(rows.size());
        if (!(information(0, 0) > 0) || !(variance >= 0)) return std::nullopt;
        prior(1, 1) = variance / (rate_prior * rate_prior);
        score(1) -= prior(1, 1) * rate;
        inverse = (information + prior).inverse();
        const Eigen::Vector2d step = inverse * score;
        lag += step(0);
        rate += step(1);
        out.samples = rows.size();
        if (std::abs(step(0)) < kStepLeast * std::sqrt(variance * inverse(0, 0))) break;
    }
    const double cross = long_run_product(lag_scores, rate_scores, width);
    Eigen::Matrix2d spread;
    spread << long_run_product(lag_scores, lag_scores, width), cross, cross,
        long_run_product(rate_scores, rate_scores, width);
    spread(1, 1) += prior(1, 1) * variance;
    const Eigen::Matrix2d covariance = inverse * spread * inverse.transpose();
    out.lag = lag;
    out.rate = rate;
    out.middle = middle;
    out.lag_sigma = std::sqrt(covariance(0, 0));
    out.rate_sigma = std::sqrt(std::max(covariance(1, 1), 0.0));
    return std::isfinite(out.lag_sigma) && std::isfinite(lag) ? std::optional(out) : std::nullopt;
}

/// The place of the greatest coefficient; a sentence when there is none that stands out.
Result<std::size_t> best_lag(const LagCorrelation& found, double step_s) {
    const auto& r = found.coefficient;
    std::size_t best = r.size();
    for (std::size_t k = 0; k < r.size(); ++k)
        if (!std::isnan(r[k]) && (best == r.size() || r[k] > r[best])) best = k;
    if (best == r.size()) return fail("neither record moves enough in what they have in common");
    if (r[best] < kCorrelationLeast)
        return fail(fmt::format("they are alike nowhere: the greatest correlation is {:.2f}, {:.1f} is the least that "
                                "counts",
                                r[best], kCorrelationLeast));
    // Down the flanks of the peak; what rises again beyond is another place.
    const auto away = static_cast<std::size_t>(kRivalAway_s / step_s);
    std::size_t left = best, right = best;
    while (left > 0 && (best - left < away || r[left - 1] <= r[left])) --left;
    while (right + 1 < r.size() && (right - best < away || r[right + 1] <= r[right])) ++right;
    for (std::size_t k = 0; k < r.size(); ++k)
        if ((k < left || k > right) && r[k] > kRival * r[best])
            return fail(fmt::format("they are as alike {:.1f} s away: {:.3f} and {:.3f}",
                                    std::abs(static_cast<double>(k) - static_cast<double>(best)) * step_s, r[k],
                                    r[best]));
    return best;
}

} // namespace

double Alignment::sigma_s(double moved_s) const noexcept {
    return std::hypot(lag_sigma_s, rate_sigma * (moved_s - middle_s));
}

Result<Alignment> align(const Record& fixed, const Record& moved) {
    if (fixed.t_s.size() < kRecordSamplesLeast || moved.t_s.size() < kRecordSamplesLeast)
        return fail(fmt::format("{} and {} values are too few; at least {} of each are needed", fixed.t_s.size(),
                                moved.t_s.size(), kRecordSamplesLeast));
    const double fixed_step_s = median_step_s(fixed.t_s), moved_step_s = median_step_s(moved.t_s);
    if (!(fixed_step_s > 0) || !(moved_step_s > 0)) return fail("their times do not go on");
    const double fixed_length_s = fixed.t_s.back() - fixed.t_s.front();
    const double moved_length_s = moved.t_s.back() - moved.t_s.front();
    const double longest_s = std::max(fixed_length_s, moved_length_s);
    const double step_s =
        std::max(std::min(fixed_step_s, moved_step_s), longest_s / static_cast<double>(kGridPointsMax));
    const auto gridded = [&](const Record& record, double length_s, double own_step_s) {
        return on_grid(record.t_s, record.value, record.t_s.front(), step_s,
                       static_cast<std::size_t>(length_s / step_s) + 1, bridged_gap_s(own_step_s));
    };
    const Grid a = gridded(fixed, fixed_length_s, fixed_step_s), b = gridded(moved, moved_length_s, moved_step_s);
    const auto values = [](const Grid& grid) {
        return static_cast<double>(std::ranges::count_if(grid, [](double v) { return std::isfinite(v); }));
    };
    const LagCorrelation found = correlate(a, b, std::max(3.0, kOverlapPart * std::min(values(a), values(b))));
    const auto best = best_lag(found, step_s);
    if (!best) return tl::unexpected(best.error());
    const double lag = static_cast<double>(*best) - static_cast<double>(found.zero); // moved[i - lag] is at fixed[i]

    // The values of the coarser record, where they were taken, against the finer one between its own.
    const bool moved_is_finer = moved_step_s < fixed_step_s;
    std::vector<LagFit> fits;
    const Record& coarse = moved_is_finer ? fixed : moved;
    const double coarse_step_s = std::max(moved_is_finer ? fixed_step_s : moved_step_s, step_s);
    const Grid own = on_grid(coarse.t_s, coarse.value, coarse.t_s.front(), coarse_step_s,
                             static_cast<std::size_t>((coarse.t_s.back() - coarse.t_s.front()) / coarse_step_s) + 1,
                             bridged_gap_s(coarse_step_s));
    const double ratio = coarse_step_s / step_s;
    for (const double width : kWidthsInSteps) {
        const Grid smooth = gaussian_smoothed(own, width);
        const Grid finer = gaussian_smoothed(moved_is_finer ? b : a, width * ratio);
        const auto one = refine_lag(smooth, finer, ratio, moved_is_finer ? -lag : lag, kRatePrior, width);
        if (one) fits.push_back(*one);
    }
    // The least of several sigmas is the luckiest as well as the best: the width is chosen by it, and what is stated is
    // the greatest of those nearby, with what the places differ by.
    std::optional<LagFit> fit;
    for (const LagFit& one : fits)
        if (!fit || one.lag_sigma < fit->lag_sigma) fit = one;
    double spread = 0, greatest = 0, greatest_rate = 0;
    for (const LagFit& one : fits) {
        if (one.lag_sigma > kWidthsCompared * fit->lag_sigma) continue;
        spread = std::max(spread, std::abs(one.lag - fit->lag));
        greatest = std::max(greatest, one.lag_sigma);
        greatest_rate = std::max(greatest_rate, one.rate_sigma);
    }
    if (fit) {
        fit->lag_sigma = std::hypot(greatest, spread, kEdgeSteps * ratio);
        fit->rate_sigma = greatest_rate;
    }
    if (!fit) return fail("what they have in common is too short, or does not move");
    const double between_starts_s = fixed.t_s.front() - moved.t_s.front();
    Alignment out{.lag_s = fit->lag * step_s + between_starts_s,
                  .lag_sigma_s = fit->lag_sigma * step_s,
                  .rate = fit->rate,
                  .rate_sigma = fit->rate_sigma,
                  .middle_s = moved.t_s.front() + fit->middle * step_s,
                  .correlation = fit->correlation,
                  .samples = fit->samples};
    if (moved_is_finer) { // it was fitted the other way round
        out.lag_s = between_starts_s - fit->lag * step_s;
        out.rate = -fit->rate;
        out.middle_s = fixed.t_s.front() + fit->middle * step_s - out.lag_s;
    }
    return out;
}

} // namespace turnstone::analysis
