#include "tests/support/tree.hpp"

#include <fstream>
#include <iterator>
#include <stdexcept>

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone::test {

std::filesystem::path source_path(const std::string& path) {
    return std::filesystem::path(TURNSTONE_SOURCE_DIR) / path;
}

std::filesystem::path demo_path(const std::string& path) {
    return source_path("tools/demo") / path;
}

std::string program_path(const std::string& name) {
    return build_path("bin/" + name).string();
}

std::filesystem::path build_path(const std::string& path) {
    return std::filesystem::path(TURNSTONE_BINARY_DIR) / path;
}

std::string read_file(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) throw std::runtime_error("cannot read " + path.string());
    return {std::istreambuf_iterator<char>(file), {}};
}

void write_file(const std::filesystem::path& path, const std::string& content) {
    std::filesystem::create_directories(path.parent_path());
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    if (!file.write(content.data(), static_cast<std::streamsize>(content.size())) || !file.flush())
        throw std::runtime_error("cannot write " + path.string());
}

nlohmann::json read_json(const std::filesystem::path& path) {
    std::vector<Problem> problems;
    auto json = parse_json_file(path, problems);
    if (!json) throw std::runtime_error(to_string(problems));
    return std::move(*json);
}

std::vector<std::string> fenced_blocks(const std::string& page, const std::string& info) {
    const std::string all = read_file(source_path(page));
    const std::string opening = "```" + info + "\n";
    std::vector<std::string> blocks;
    for (std::size_t at = all.find(opening); at != std::string::npos; at = all.find(opening, at)) {
        at += opening.size();
        blocks.push_back(all.substr(at, all.find("```", at) - at));
    }
    if (blocks.empty()) throw std::runtime_error(page + " has no block ```" + info);
    return blocks;
}

} // namespace turnstone::test
