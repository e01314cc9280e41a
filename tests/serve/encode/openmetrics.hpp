#pragma once
/// Reads an OpenMetrics 1.0 text exposition of counters, gauges, state sets and unknown metrics, without timestamps and
/// exemplars: as much of the format as the server writes, and no more.
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace openmetrics {

using Labels = std::map<std::string, std::string>;

struct Sample {
    std::string name;
    Labels labels;
    double value = 0;
};

struct Family {
    std::string name;
    std::string type = "unknown";
    std::string unit;
    std::string help;
    std::vector<Sample> samples;
};

struct Exposition {
    std::vector<Family> families;
    std::string problem; ///< empty: valid
};

[[nodiscard]] Exposition read(std::string_view text);

} // namespace openmetrics
