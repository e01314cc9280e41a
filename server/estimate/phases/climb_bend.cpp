#include "server/estimate/phases/climb_bend.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <Eigen/Dense>

#include "shared/constants.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kDensity_kg_m3 = 1.1;
constexpr double kSpeedOfSound_mps = 340.0;
constexpr double kStep_s = 0.002;
constexpr int kStepsPerHeight = 20; ///< 25 heights a second
constexpr double kAfterBurnout_s = 1.0;
constexpr std::array<double, 3> kHalfWindows_s{2.0, 1.0, 0.9};

} // namespace

std::optional<Bend> break_between_parabolas(const std::vector<double>& t_s, const std::vector<double>& y, bool kink) {
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
    const bool inside = best > 0 && best < kGrid;
    const double sigma_s = inside && curvature > 0.0 ? std::sqrt(2.0 * variance / curvature) : to_s - from_s;
    return Bend{t_best_s + std::clamp(shift_s, -step_s, step_s), std::min(sigma_s, to_s - from_s)};
}

std::optional<Bend> bend_of_climb(const std::vector<double>& t_s, const std::vector<double>& height_m, double near_s) {
    std::optional<Bend> bend;
    double middle_s = near_s;
    for (const double half_s : kHalfWindows_s) {
        const auto from = std::lower_bound(t_s.begin(), t_s.end(), middle_s - half_s) - t_s.begin();
        const auto to = std::lower_bound(t_s.begin(), t_s.end(), middle_s + half_s) - t_s.begin();
        const auto found = break_between_parabolas({t_s.begin() + from, t_s.begin() + to},
                                                   {height_m.begin() + from, height_m.begin() + to}, true);
        if (!found) break;
        bend = found;
        middle_s = found->t_s;
    }
    return bend;
}

std::optional<double> bend_to_burnout_s(const RocketModel& rocket) {
    const double burn_s = rocket.burn_time_s();
    if (!(burn_s > 0.2) || burn_s > 60.0) return std::nullopt;
    std::vector<double> t_s;
    std::vector<double> height_m;
    double h = 0.0;
    double v = 0.0;
    const int steps = static_cast<int>((burn_s + kAfterBurnout_s) / kStep_s);
    for (int i = 0; i < steps; ++i) {
        const double t = kStep_s * i;
        const double drag_n = 0.5 * kDensity_kg_m3 * v * std::fabs(v) * rocket.reference_area_m2 *
                              rocket.drag_coefficient.at(std::fabs(v) / kSpeedOfSound_mps);
        const double thrust_n = t < burn_s ? rocket.thrust_n.at(t) : 0.0;
        const double a = (thrust_n - drag_n) / rocket.mass_kg(t) - kGravityStandard_mps2;
        if (h > 0.0 || a > 0.0) v += a * kStep_s;
        h += v * kStep_s;
        if (i % kStepsPerHeight == 0 && h > 0.0) {
            t_s.push_back(t);
            height_m.push_back(h);
        }
    }
    const auto bend = bend_of_climb(t_s, height_m, burn_s);
    if (!bend) return std::nullopt;
    const double later_s = burn_s - bend->t_s;
    return later_s > -0.05 && later_s < 0.5 * burn_s ? std::optional(later_s) : std::nullopt;
}

} // namespace turnstone::estimate
