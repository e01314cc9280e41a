#include "server/analysis/statistics/comparison.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <boost/math/special_functions/gamma.hpp>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

TTest welch_t(const Summary& a, const Summary& b) {
    TTest test;
    test.difference = a.mean - b.mean;
    if (a.count < 2 || b.count < 2) return test;
    const double of_a = a.variance() / static_cast<double>(a.count);
    const double of_b = b.variance() / static_cast<double>(b.count);
    test.standard_error = std::sqrt(of_a + of_b);
    if (!(test.standard_error > 0)) return test;
    test.t = test.difference / test.standard_error;
    test.freedom = (of_a + of_b) * (of_a + of_b) /
                   (of_a * of_a / static_cast<double>(a.count - 1) + of_b * of_b / static_cast<double>(b.count - 1));
    test.p = 2 * cdf(complement(StudentsT(test.freedom), std::abs(test.t)));
    return test;
}

Interval difference_interval(const TTest& test, double confidence) {
    if (std::isnan(test.freedom)) return {};
    const double reach = quantile(complement(StudentsT(test.freedom), (1 - confidence) / 2)) * test.standard_error;
    return {test.difference - reach, test.difference + reach};
}

double equivalence_p(const TTest& test, double margin) {
    if (std::isnan(test.freedom)) return kNone;
    return cdf(complement(StudentsT(test.freedom), (margin - std::abs(test.difference)) / test.standard_error));
}

FTest variance_ratio(const Summary& a, const Summary& b) {
    FTest test;
    if (a.count < 2 || b.count < 2 || !(a.sd > 0) || !(b.sd > 0)) return test;
    test.f = a.variance() / b.variance();
    test.freedom_above = static_cast<double>(a.count - 1);
    test.freedom_below = static_cast<double>(b.count - 1);
    const FisherF distribution(test.freedom_above, test.freedom_below);
    test.p = std::min(1.0, 2 * std::min(cdf(distribution, test.f), cdf(complement(distribution, test.f))));
    return test;
}

Interval ratio_interval(const FTest& test, double confidence) {
    if (std::isnan(test.f)) return {};
    const FisherF distribution(test.freedom_above, test.freedom_below);
    const double tail = (1 - confidence) / 2;
    return {test.f / quantile(complement(distribution, tail)), test.f / quantile(distribution, tail)};
}

FTest brown_forsythe(std::span<const std::span<const double>> groups) {
    std::vector<Summary> distances;
    double count = 0;
    double sum = 0;
    for (const std::span<const double> group : groups) {
        std::vector<double> values = finite_values(group);
        const double middle = median(values);
        for (double& value : values) value = std::abs(value - middle);
        distances.push_back(summarise(values));
        if (values.size() < 3) return {}; // two are as far from their median as each other, whatever they are
        count += static_cast<double>(values.size());
        sum += distances.back().mean * static_cast<double>(values.size());
    }
    const auto kinds = static_cast<double>(distances.size());
    if (kinds < 2 || count <= kinds) return {};
    const double middle = sum / count;
    double between = 0;
    double within = 0;
    double scale = 0;
    for (const Summary& each : distances) {
        between += static_cast<double>(each.count) * (each.mean - middle) * (each.mean - middle);
        within += static_cast<double>(each.count - 1) * each.variance();
        scale += static_cast<double>(each.count) * each.mean * each.mean;
    }
    constexpr double kRounding = 1e-24; // all distances alike: what is left of their spread is not theirs
    if (!(within > kRounding * scale)) return {};
    FTest test;
    test.freedom_above = kinds - 1;
    test.freedom_below = count - kinds;
    test.f = between / test.freedom_above / (within / test.freedom_below);
    test.p = cdf(complement(FisherF(test.freedom_above, test.freedom_below), test.f));
    return test;
}

FTest brown_forsythe(std::span<const double> a, std::span<const double> b) {
    return brown_forsythe(std::array{a, b});
}

EffectSize effect_size(const Summary& a, const Summary& b) {
    if (a.count < 2 || b.count < 2) return {};
    const auto of_a = static_cast<double>(a.count - 1);
    const auto of_b = static_cast<double>(b.count - 1);
    const double freedom = of_a + of_b;
    const double pooled = std::sqrt((of_a * a.variance() + of_b * b.variance()) / freedom);
    if (!(pooled > 0)) return {};
    const double d = (a.mean - b.mean) / pooled;
    // L. V. Hedges, Journal of Educational Statistics 6 (1981), 107-128 (from memory), the exact factor.
    const double factor = boost::math::tgamma_delta_ratio(0.5 * (freedom - 1), 0.5, Quiet{});
    return {d, d / (std::sqrt(0.5 * freedom) * factor)};
}

} // namespace turnstone::analysis
