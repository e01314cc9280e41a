#pragma once
/// Reads numbers from a comma-separated file with one header line; empty cells and words become NaN.
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

namespace turnstone::test {

inline std::vector<std::vector<double>> csv_rows(const std::string& path_below_reference) {
    const std::string path = TURNSTONE_SOURCE_DIR "/tests/reference/" + path_below_reference;
    std::ifstream file(path);
    if (!file) throw std::runtime_error("cannot read " + path);
    std::string line;
    std::getline(file, line);
    std::vector<std::vector<double>> rows;
    while (std::getline(file, line)) {
        std::vector<double> row;
        std::stringstream cells(line);
        std::string cell;
        while (std::getline(cells, cell, ',')) {
            char* end = nullptr;
            const double value = std::strtod(cell.c_str(), &end);
            row.push_back(end == cell.c_str() ? std::nan("") : value);
        }
        rows.push_back(std::move(row));
    }
    return rows;
}

} // namespace turnstone::test
