#pragma once
/// Lines of a page's pictures, read back.
#include <regex>
#include <string>
#include <vector>

namespace turnstone::report_test {

struct Corner {
    double x, y;
};

/// The corners of the first path of that class.
inline std::vector<Corner> path_of(const std::string& svg, const std::string& classes) {
    std::vector<Corner> corners;
    const std::size_t from = svg.find("<path class=\"" + classes + "\"");
    if (from == std::string::npos) return corners;
    const std::string path = svg.substr(from, svg.find("/>", from) - from);
    const std::regex corner("[ML](-?[0-9.]+) (-?[0-9.]+)");
    for (auto at = std::sregex_iterator(path.begin(), path.end(), corner); at != std::sregex_iterator(); ++at)
        corners.push_back({std::stod((*at)[1]), std::stod((*at)[2])});
    return corners;
}

} // namespace turnstone::report_test
