#include "tests/support/reference.hpp"

#include <cmath>
#include <cstdlib>
#include <map>
#include <sstream>
#include <stdexcept>

#include "tests/support/tree.hpp"

namespace turnstone::test {
namespace {

std::filesystem::path path_of(const std::string& file) {
    return source_path("tests/reference") / file;
}

} // namespace

const nlohmann::json& read_reference(const std::string& file) {
    static std::map<std::string, nlohmann::json> files;
    const auto known = files.find(file);
    return known != files.end() ? known->second : files.emplace(file, read_json(path_of(file))).first->second;
}

std::vector<nlohmann::json> reference_cases(const std::string& file, const std::string& kind) {
    std::vector<nlohmann::json> cases;
    for (const nlohmann::json& one : read_reference(file).at("cases"))
        if (one.at("kind") == kind) cases.push_back(one);
    return cases;
}

const nlohmann::json& reference_case(const std::string& file, const std::string& id) {
    for (const nlohmann::json& one : read_reference(file).at("cases"))
        if (one.at("id") == id) return one;
    throw std::runtime_error(file + " has no case " + id);
}

std::vector<std::vector<double>> reference_rows(const std::string& file) {
    std::istringstream lines(read_file(path_of(file)));
    std::string line;
    std::getline(lines, line);
    std::vector<std::vector<double>> rows;
    while (std::getline(lines, line)) {
        std::vector<double> row;
        std::istringstream cells(line);
        for (std::string cell; std::getline(cells, cell, ',');) {
            char* end = nullptr;
            const double value = std::strtod(cell.c_str(), &end);
            row.push_back(end == cell.c_str() ? std::nan("") : value);
        }
        rows.push_back(std::move(row));
    }
    return rows;
}

} // namespace turnstone::test
