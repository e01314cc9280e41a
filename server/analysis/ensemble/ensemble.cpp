#include "server/analysis/ensemble/ensemble.hpp"

#include <cstddef>

namespace turnstone::analysis {

Ensemble ensemble_of(std::span<const std::vector<double>> flights, double confidence) {
    Ensemble out;
    const std::size_t moments = flights.empty() ? 0 : flights.front().size();
    std::vector<double> values(flights.size());
    for (std::size_t i = 0; i < moments; ++i) {
        for (std::size_t f = 0; f < flights.size(); ++f) values[f] = flights[f][i];
        const Summary sample = summarise(values);
        const Interval interval = mean_interval(sample, confidence);
        out.mean.push_back(sample.mean);
        out.sd.push_back(sample.sd);
        out.low.push_back(interval.low);
        out.high.push_back(interval.high);
    }
    return out;
}

std::vector<std::vector<double>> minus_first(std::span<const std::vector<double>> flights) {
    std::vector<std::vector<double>> out(flights.begin(), flights.end());
    for (std::vector<double>& flight : out)
        for (std::size_t i = 0; i < flight.size(); ++i) flight[i] -= flights.front()[i];
    return out;
}

} // namespace turnstone::analysis
