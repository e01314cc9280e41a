#include "server/analysis/statistics/power.hpp"

#include <cmath>
#include <cstdint>

#include <boost/math/tools/toms748_solve.hpp>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

double power_of_t_test(double effect, std::size_t count_a, std::size_t count_b, double alpha) {
    if (count_a < 2 || count_b < 2 || std::isnan(effect)) return kNone;
    const auto a = static_cast<double>(count_a);
    const auto b = static_cast<double>(count_b);
    const double freedom = a + b - 2;
    const double critical = quantile(complement(StudentsT(freedom), alpha / 2));
    const NonCentralT shifted(freedom, std::abs(effect) * std::sqrt(a * b / (a + b)));
    return cdf(complement(shifted, critical)) + cdf(shifted, -critical);
}

double least_detectable_effect(std::size_t count_a, std::size_t count_b, double alpha, double power) {
    if (count_a < 2 || count_b < 2 || !(power > alpha && power < 1)) return kNone;
    const auto lacking = [&](double effect) { return power_of_t_test(effect, count_a, count_b, alpha) - power; };
    double high = 1;
    constexpr double kAnythingIsSeen = 1e4;
    while (lacking(high) < 0 && high < kAnythingIsSeen) high *= 2;
    std::uintmax_t steps = 200;
    const auto [low, above] = boost::math::tools::toms748_solve(
        lacking, 0.0, high, boost::math::tools::eps_tolerance<double>(40), steps, Quiet{});
    return 0.5 * (low + above);
}

double least_detectable_in_plane(double critical, double power) {
    if (!(critical > 0 && std::isfinite(critical) && power > 0 && power < 1)) return kNone;
    constexpr double kFar = 30; // the plane's curvature is nothing there: the normal distribution has it
    if (critical > kFar) return critical + quantile(Normal(), power);
    return std::sqrt(NonCentralChiSquared::find_non_centrality(2, critical * critical, 1 - power));
}

} // namespace turnstone::analysis
