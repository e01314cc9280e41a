// What tracked files must not hold.
#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "tests/repository/tree_files.hpp"

using namespace turnstone::test;

TEST_CASE("tracked text names no machine path and no package registry") {
    // Written in two halves so that this file does not find itself.
    const std::vector<std::string> forbidden = {std::string("registry.npm") + "js", std::string("deb.debian") + ".org",
                                                std::string("/wo") + "rk/", std::string("/ro") + "ot/"};
    std::size_t files_read = 0;
    for (const std::string& folder : kTopFolders)
        for (const std::string& path :
             files_below(folder, {".hpp", ".cpp", ".h", ".c", ".in", ".ts", ".svelte", ".css", ".json", ".md", ".txt",
                                  ".cmake", ".sql", ".js", ".mjs", ".py", ".sh", ""})) {
            const std::string text = text_of(path);
            for (const std::string& word : forbidden) {
                INFO(path << " contains " << word);
                CHECK(text.find(word) == std::string::npos);
            }
            ++files_read;
        }
    REQUIRE(files_read > 100);
}

TEST_CASE("the lockfile pins by hash and names no download address") {
    const std::string lock = text_of("web/package-lock.json");
    REQUIRE(lock.size() > 1000);
    CHECK(lock.find("\"resolved\"") == std::string::npos);
    CHECK(lock.find(".tgz") == std::string::npos);
    CHECK(lock.find("\"integrity\"") != std::string::npos);
}
