#include "server/analysis/statistics/outliers.hpp"

#include <cmath>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

namespace {

struct Candidate {
    std::size_t index;
    double value;
};

} // namespace

double grubbs_critical(std::size_t count, double alpha) {
    if (count < 3) return kNone;
    const auto n = static_cast<double>(count);
    const double t = quantile(complement(StudentsT(n - 2), alpha / (2 * n)));
    return (n - 1) / std::sqrt(n) * std::sqrt(t * t / (n - 2 + t * t));
}

ExtremeDeviates generalised_esd(std::span<const double> values, std::size_t most, double alpha) {
    std::vector<Candidate> left;
    for (std::size_t i = 0; i < values.size(); ++i)
        if (std::isfinite(values[i])) left.push_back({i, values[i]});
    ExtremeDeviates result;
    std::size_t found = 0;
    while (result.removed.size() < most && left.size() >= 3) {
        std::vector<double> rest;
        for (const Candidate& candidate : left) rest.push_back(candidate.value);
        const Summary sample = summarise(rest);
        if (!(sample.sd > 0)) break;
        std::size_t farthest = 0;
        for (std::size_t i = 1; i < left.size(); ++i)
            if (std::abs(rest[i] - sample.mean) > std::abs(rest[farthest] - sample.mean)) farthest = i;
        const Suspect suspect{left[farthest].index, std::abs(rest[farthest] - sample.mean) / sample.sd,
                              grubbs_critical(left.size(), alpha)};
        result.removed.push_back(suspect);
        // The last one above its limit counts with all before it, above theirs or not: they hid each other.
        if (suspect.distance > suspect.critical) found = result.removed.size();
        left.erase(left.begin() + static_cast<std::ptrdiff_t>(farthest));
    }
    for (std::size_t i = 0; i < found; ++i) result.outliers.push_back(result.removed[i].index);
    return result;
}

Suspect grubbs(std::span<const double> values, double alpha) {
    const ExtremeDeviates deviates = generalised_esd(values, 1, alpha);
    return deviates.removed.empty() ? Suspect{} : deviates.removed.front();
}

} // namespace turnstone::analysis
