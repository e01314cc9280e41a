// Folders read like a table of contents: small, with names that say what is in them, and nothing beside the build.
#include <catch2/catch.hpp>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>
#include <string>

#include <nlohmann/json.hpp>

#include "tests/repository/tree_files.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone::test;

namespace {

constexpr std::ptrdiff_t kLinesMax = 600;
constexpr std::size_t kFilesMax = 20;

const std::set<std::string> kSources = {".hpp", ".cpp", ".h", ".c", ".ts", ".svelte", ".css"};

std::vector<std::string> all_sources(const std::set<std::string>& endings) {
    std::vector<std::string> all;
    for (const std::string& top : kTopFolders)
        for (std::string& path : files_below(top, endings)) all.push_back(std::move(path));
    return all;
}

/// Folders that hold more, and why.
const std::map<std::string, std::size_t> kLargerFolders = {
    {"server/estimate/phases", 22}, // a watcher for each transition, each with its header
    {"tests/fuzz", 30},             // a program per fuzz target
};

/// Test folders that have no source folder of their name, and why.
const std::map<std::string, std::string> kTestsOfNoFolder = {
    {"tests/support", "what test programs share"},
    {"tests/repository", "tests the tree itself"},
    {"tests/end_to_end", "tests whole programs"},
    {"tests/fuzz", "a program per fuzz target"},
};

} // namespace

TEST_CASE("no source file outgrows one screenful of concerns") {
    std::size_t files_read = 0;
    for (const std::string& path : all_sources(kSources)) {
        const std::string text = text_of(path);
        INFO(path);
        CHECK(std::count(text.begin(), text.end(), '\n') <= kLinesMax);
        ++files_read;
    }
    REQUIRE(files_read > 100);
}

TEST_CASE("no folder outgrows what one can keep in mind") {
    std::map<std::string, std::size_t> files;
    for (const std::string& path : all_sources(kSources)) ++files[folder_of(path)];
    REQUIRE(files.size() > 20);
    for (const auto& [folder, count] : files) {
        INFO(folder << " has " << count << " source files; divide it by what they are about");
        const auto larger = kLargerFolders.find(folder);
        CHECK(count <= (larger == kLargerFolders.end() ? kFilesMax : larger->second));
    }
}

TEST_CASE("every source file is compiled and every header is included") {
    std::set<std::string> compiled;
    const auto add = [&](const std::string& file) {
        compiled.insert(std::filesystem::relative(file, source_path("")).lexically_normal().string());
    };
    for (const auto& command : read_json(build_path("compile_commands.json"))) {
        const std::string file = command.at("file").get<std::string>();
        add(file);
        // Files that are compiled together are included in one.
        if (file.find("/Unity/") != std::string::npos)
            for (const std::string& target : includes_of(file)) add(target);
    }
    std::set<std::string> included;
    for (const std::string& path : all_sources({".hpp", ".cpp"}))
        for (const std::string& target : includes_of(path)) included.insert(target);
    for (const std::string& path : all_sources({".cpp"})) {
        INFO(path << " belongs to no target");
        CHECK(compiled.contains(path));
    }
    for (const std::string& path : all_sources({".hpp"})) {
        INFO("nothing includes " << path);
        CHECK(included.contains(path));
    }
}

TEST_CASE("tests are named test_<subject>.cpp and are in folders named like those they test") {
    std::size_t files_read = 0;
    for (const std::string& path : files_below("tests", {".cpp"})) {
        const std::string folder = folder_of(path);
        INFO(path);
        const bool has_cases = text_of(path).find("\nTEST_CASE(") != std::string::npos;
        CHECK(has_cases == (std::filesystem::path(path).filename().string().rfind("test_", 0) == 0));
        ++files_read;
        if (kTestsOfNoFolder.contains(folder)) continue;
        const std::string subject = folder.substr(std::string("tests/").size());
        const bool known = std::filesystem::is_directory(source_path(subject)) ||
                           std::filesystem::is_directory(source_path("server/" + subject)) ||
                           std::filesystem::is_directory(source_path("tools/" + subject));
        CHECK(known);
    }
    REQUIRE(files_read > 50);
}
