#pragma once
/// Reference values of tests/reference/ by file name.
#include <stdexcept>
#include <string>

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone {

inline nlohmann::json read_reference(const std::string& name) {
    std::vector<Problem> problems;
    auto json = parse_json_file(std::string(TURNSTONE_SOURCE_DIR) + "/tests/reference/" + name, problems);
    if (!json) throw std::runtime_error(to_string(problems));
    return std::move(*json);
}

} // namespace turnstone
