#pragma once
/// The files of the source tree, by path from its root: what is tracked, without looking into build folders.
#include <set>
#include <string>
#include <vector>

namespace turnstone::test {

/// Top folders that hold the project's own text.
inline const std::vector<std::string> kTopFolders = {"shared", "protocol", "server", "tools", "tests", "web", ".ci"};

/// Sorted; `endings` empty means all files. Generated folders (node_modules, dist, build) are left out.
[[nodiscard]] std::vector<std::string> files_below(const std::string& folder, const std::set<std::string>& endings);
[[nodiscard]] std::string folder_of(const std::string& path);
[[nodiscard]] std::string text_of(const std::string& path);
/// Paths in the file's #include "..." lines.
[[nodiscard]] std::vector<std::string> includes_of(const std::string& path);

} // namespace turnstone::test
