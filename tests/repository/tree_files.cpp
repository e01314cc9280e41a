#include "tests/repository/tree_files.hpp"

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "tests/support/tree.hpp"

namespace turnstone::test {

std::vector<std::string> files_below(const std::string& folder, const std::set<std::string>& endings) {
    std::vector<std::string> found;
    using Walk = std::filesystem::recursive_directory_iterator;
    for (auto it = Walk(source_path(folder)); it != Walk(); ++it) {
        const auto name = it->path().filename().string();
        if (it->is_directory() && (name == "node_modules" || name == "build" || name == "dist"))
            it.disable_recursion_pending();
        else if (it->is_regular_file() && (endings.empty() || endings.contains(it->path().extension().string())))
            found.push_back(std::filesystem::relative(it->path(), source_path("")).string());
    }
    std::sort(found.begin(), found.end());
    return found;
}

std::string folder_of(const std::string& path) {
    return std::filesystem::path(path).parent_path().string();
}

std::string text_of(const std::string& path) {
    return read_file(source_path(path));
}

std::vector<std::string> includes_of(const std::string& path) {
    std::vector<std::string> found;
    std::istringstream lines(text_of(path));
    for (std::string line; std::getline(lines, line);) {
        if (line.rfind("#include \"", 0) != 0) continue;
        const std::size_t begin = line.find('"') + 1;
        found.push_back(line.substr(begin, line.find('"', begin) - begin));
    }
    return found;
}

} // namespace turnstone::test
