#include "server/analysis/identify/actuator.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "server/analysis/identify/least_squares.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kNever = std::numeric_limits<double>::infinity();

struct ActuatorModel {
    double delay_s, lag_s, limit_radps;
};

/// The deflection that the model gives for the run's command, which is held from sample to sample, from the first
/// measured one on. Several steps a sample: lag and rate limit take turns within one.
std::vector<double> driven(const Run& run, double period_s, const ActuatorModel& model) {
    constexpr int kStepsPerSample = 4;
    const std::vector<double>& command = run.channels[0];
    std::vector<double> out(command.size());
    double now = run.channels[1].front();
    const double step_s = period_s / kStepsPerSample;
    const double part = model.lag_s > 0 ? 1 - std::exp(-step_s / model.lag_s) : 1.0;
    const double most = model.limit_radps * step_s;
    const auto held = [&](double at) {
        return command[std::min(static_cast<std::size_t>(std::max(0.0, at)), command.size() - 1)];
    };
    for (std::size_t i = 0; i < out.size(); ++i) {
        out[i] = now;
        for (int k = 0; k < kStepsPerSample; ++k) {
            // The mean of what is held over the step, late by the delay.
            const double from =
                static_cast<double>(i) + static_cast<double>(k) / kStepsPerSample - model.delay_s / period_s;
            const double to = from + 1.0 / kStepsPerSample;
            const double edge = std::floor(to);
            const double after = edge > from ? (to - edge) * kStepsPerSample : 0.0;
            const double told = (1 - after) * held(from) + after * held(to);
            now += std::clamp(part * (told - now), -most, most);
        }
    }
    return out;
}

Eigen::VectorXd left_over(const EvenRuns& runs, const ActuatorModel& model) {
    std::vector<double> all;
    for (const Run& run : runs.runs) {
        const std::vector<double> made = driven(run, runs.period_s, model);
        for (std::size_t i = 0; i < made.size(); ++i) all.push_back(run.channels[1][i] - made[i]);
    }
    return Eigen::Map<const Eigen::VectorXd>(all.data(), static_cast<Eigen::Index>(all.size()));
}

double part_at_limit(const EvenRuns& runs, const ActuatorModel& model) {
    std::size_t fast = 0, count = 0;
    for (const Run& run : runs.runs) {
        const std::vector<double> made = driven(run, runs.period_s, model);
        for (std::size_t i = 1; i < made.size(); ++i) {
            ++count;
            if (std::abs(made[i] - made[i - 1]) > 0.999 * model.limit_radps * runs.period_s) ++fast;
        }
    }
    return count > 0 ? static_cast<double>(fast) / static_cast<double>(count) : kNone;
}

} // namespace

Actuator identify_actuator(const EvenRuns& runs) {
    Actuator out;
    double least = kNever, most = -kNever;
    std::size_t count = 0;
    for (const Run& run : runs.runs) {
        for (std::size_t i = 1; i < run.channels[1].size(); ++i) {
            const double rate = std::abs(run.channels[1][i] - run.channels[1][i - 1]) / runs.period_s;
            out.rate_used_radps = std::isnan(out.rate_used_radps) ? rate : std::max(out.rate_used_radps, rate);
        }
        const auto [low, high] = std::ranges::minmax(run.channels[0]);
        least = std::min(least, low);
        most = std::max(most, high);
        count += run.channels[0].size();
    }
    constexpr double kMoves_rad = 0.005;
    constexpr std::size_t kSamplesLeast = 20;
    if (count < kSamplesLeast || !(most - least > kMoves_rad)) return out;

    // The sum of squares has valleys: the best of a coarse net is where the fit begins.
    ActuatorModel best{0, 0, kNever};
    double best_square = kNever;
    for (double delay_s = 0; delay_s < 0.1; delay_s += 0.01)
        for (const double lag_s : {0.005, 0.02, 0.05})
            for (const double part : {0.25, 0.5, 0.75, 1.0, 4.0}) {
                const ActuatorModel one{delay_s, lag_s, part * out.rate_used_radps};
                const double square = left_over(runs, one).squaredNorm();
                if (square < best_square) {
                    best_square = square;
                    best = one;
                }
            }
    const auto model_of = [](const Eigen::VectorXd& by) {
        return ActuatorModel{std::max(0.0, by[0]), std::max(0.0, by[1]), by.size() > 2 ? std::exp(by[2]) : kNever};
    };
    // A limit that nothing came near cannot be fitted.
    const bool limited = best.limit_radps < 1.5 * out.rate_used_radps;
    Eigen::VectorXd start(limited ? 3 : 2), scale(limited ? 3 : 2);
    start.head<2>() << best.delay_s, best.lag_s;
    scale.head<2>() << 0.02, 0.02;
    if (limited) {
        start[2] = std::log(best.limit_radps);
        scale[2] = 0.3;
    }
    const Fit fit = fit_model([&](const Eigen::VectorXd& by) { return left_over(runs, model_of(by)); }, start, scale);
    const ActuatorModel found = model_of(fit.estimate);
    out.delay_s = found.delay_s;
    out.lag_s = found.lag_s;
    out.error_rad = std::sqrt(fit.residuals.squaredNorm() / static_cast<double>(fit.residuals.size()));
    if (fit.covariance.size() > 0) {
        out.delay_sigma_s = fit.sigma(0);
        out.lag_sigma_s = fit.sigma(1);
    }
    out.at_limit_share = part_at_limit(runs, found);
    // One sample at the limit is a coincidence.
    if (out.at_limit_share * static_cast<double>(count) > 3) out.rate_limit_radps = found.limit_radps;
    return out;
}

double saturated_share(std::span<const double> command, double limit_rad) {
    if (command.empty()) return kNone;
    std::size_t at_limit = 0;
    const auto beyond = [&](double value) { return std::abs(value) >= limit_rad * (1 - 1e-3); };
    for (std::size_t i = 0; i < command.size(); ++i) {
        const bool neighbour = (i > 0 && beyond(command[i - 1])) || (i + 1 < command.size() && beyond(command[i + 1]));
        at_limit += beyond(command[i]) && neighbour ? 1 : 0;
    }
    return static_cast<double>(at_limit) / static_cast<double>(command.size());
}

} // namespace turnstone::analysis
