// The arrows between folders, read from the #include lines themselves, and the hygiene of tracked files: what a link
// line cannot see (a header-only include) and what a reviewer should not have to look for.
#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace fs = std::filesystem;

namespace {

const fs::path kRoot = TURNSTONE_SOURCE_DIR;

/// What each folder may include of ours, besides itself.
const std::map<std::string, std::set<std::string>> kMayInclude = {
    {"shared", {}},
    {"protocol", {"shared"}},
    {"server/estimate", {"shared"}},
    {"server/pipeline", {"shared", "protocol", "server/estimate"}},
    {"server/link", {"shared"}},
    {"server/setup", {"shared", "protocol", "server/pipeline", "server/link"}},
    {"server/record", {"shared", "protocol", "server/pipeline", "server/setup"}},
    {"server/serve", {"shared", "protocol", "server/pipeline", "server/record"}},
    {"server/commands",
     {"shared", "protocol", "server/pipeline", "server/link", "server/setup", "server/record", "server/serve"}},
    {"tools/sim", {"shared", "protocol"}},
};

std::vector<fs::path> files_below(const std::string& folder, const std::set<std::string>& endings) {
    std::vector<fs::path> found;
    for (auto it = fs::recursive_directory_iterator(kRoot / folder); it != fs::recursive_directory_iterator(); ++it) {
        const auto name = it->path().filename().string();
        if (it->is_directory() && (name == "node_modules" || name == "build" || name == "dist"))
            it.disable_recursion_pending();
        else if (it->is_regular_file() && endings.contains(it->path().extension().string()))
            found.push_back(it->path());
    }
    std::sort(found.begin(), found.end());
    return found;
}

std::string text_of(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
}

/// Folder of kMayInclude that a path such as "server/link/link.hpp" belongs to; empty when it is not ours.
std::string layer_of(const std::string& path) {
    std::string best;
    for (const auto& [folder, allowed] : kMayInclude)
        if (path.rfind(folder + "/", 0) == 0 && folder.size() > best.size()) best = folder;
    return best;
}

} // namespace

TEST_CASE("a folder includes only the folders below it") {
    const std::regex include(R"re(^\s*#include\s+"([^"]+)")re");
    std::size_t includes_read = 0;
    for (const auto& [folder, allowed] : kMayInclude) {
        for (const auto& file : files_below(folder, {".hpp", ".cpp"})) {
            std::istringstream lines(text_of(file));
            std::string line;
            std::smatch match;
            while (std::getline(lines, line)) {
                if (!std::regex_search(line, match, include)) continue;
                ++includes_read;
                const std::string target = match[1];
                const std::string layer = layer_of(target);
                const bool ours_elsewhere =
                    target.rfind("server/", 0) == 0 || target.rfind("tools/", 0) == 0 || target.rfind("tests/", 0) == 0;
                INFO(fs::relative(file, kRoot).string() << " includes " << target);
                CHECK((layer == folder || allowed.contains(layer) || (layer.empty() && !ours_elsewhere)));
            }
        }
    }
    REQUIRE(includes_read > 200);
}

TEST_CASE("no source file outgrows one screenful of concerns") {
    constexpr std::ptrdiff_t kLinesMax = 600;
    std::size_t files_read = 0;
    for (const std::string folder : {"shared", "protocol", "server", "tools", "tests", "web"}) {
        for (const auto& file : files_below(folder, {".hpp", ".cpp", ".h", ".c", ".ts", ".svelte", ".css"})) {
            const std::string text = text_of(file);
            INFO(fs::relative(file, kRoot).string());
            CHECK(std::count(text.begin(), text.end(), '\n') <= kLinesMax);
            ++files_read;
        }
    }
    REQUIRE(files_read > 100);
}

TEST_CASE("tracked text names no machine path and no package registry") {
    // Written in two halves so that this file does not find itself.
    const std::vector<std::string> forbidden = {std::string("registry.npm") + "js", std::string("deb.debian") + ".org",
                                                std::string("/wo") + "rk/", std::string("/ro") + "ot/"};
    std::size_t files_read = 0;
    for (const std::string folder : {"shared", "protocol", "server", "tools", "tests", "web", ".ci"}) {
        for (const auto& file : files_below(folder, {".hpp", ".cpp", ".h", ".c", ".ts", ".svelte", ".css", ".json",
                                                     ".md", ".txt", ".cmake", ".sql", ".js", ".mjs", ".sh", ""})) {
            const std::string text = text_of(file);
            for (const auto& word : forbidden) {
                INFO(fs::relative(file, kRoot).string() << " contains " << word);
                CHECK(text.find(word) == std::string::npos);
            }
            ++files_read;
        }
    }
    REQUIRE(files_read > 100);
}

TEST_CASE("the lockfile pins by hash and names no download address") {
    const std::string lock = text_of(kRoot / "web" / "package-lock.json");
    REQUIRE(lock.size() > 1000);
    CHECK(lock.find("\"resolved\"") == std::string::npos);
    CHECK(lock.find(".tgz") == std::string::npos);
    CHECK(lock.find("\"integrity\"") != std::string::npos);
}
