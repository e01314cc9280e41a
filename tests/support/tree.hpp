#pragma once
/// Files of the source tree and programs of the build a test belongs to. What cannot be read throws.
#include <filesystem>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace turnstone::test {

/// A path below the source tree.
[[nodiscard]] std::filesystem::path source_path(const std::string& path);
/// tools/demo, or a path below it.
[[nodiscard]] std::filesystem::path demo_path(const std::string& path = "");
/// build/<config>/bin/NAME.
[[nodiscard]] std::string program_path(const std::string& name);
/// A path below build/<config>, for what a test leaves behind to be looked at.
[[nodiscard]] std::filesystem::path build_path(const std::string& path);

[[nodiscard]] std::string read_file(const std::filesystem::path& path);
/// Creates the folders it needs.
void write_file(const std::filesystem::path& path, const std::string& content);
/// The strict reader of the project, so that a key that appears twice is found here too.
[[nodiscard]] nlohmann::json read_json(const std::filesystem::path& path);
/// The fenced blocks of one info string in a page of the tree, in order.
[[nodiscard]] std::vector<std::string> fenced_blocks(const std::string& page, const std::string& info);

} // namespace turnstone::test
