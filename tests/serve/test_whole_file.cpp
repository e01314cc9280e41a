// Small files that are whole before they have their name.
#include <cerrno>
#include <filesystem>

#include <catch2/catch.hpp>
#include <sys/stat.h>

#include "server/serve/whole_file.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE(
    "a whole file has its text and its permissions, leaves no other behind, and keeps or replaces what was there") {
    const TemporaryFolder folder;
    const auto path = folder.path() / "key";
    const auto mode = [&] {
        struct stat status {};
        REQUIRE(::stat(path.c_str(), &status) == 0);
        return status.st_mode & 0777;
    };
    REQUIRE(write_whole(path, "first", 0600, Existing::kept) == 0);
    CHECK(read_file(path) == "first");
    CHECK(mode() == 0600);
    REQUIRE(write_whole(path, "second", 0600, Existing::kept) == 0);
    CHECK(read_file(path) == "first");
    REQUIRE(write_whole(path, "third", 0640, Existing::replaced) == 0);
    CHECK(read_file(path) == "third");
    CHECK(mode() == 0640);
    std::size_t files = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path())) files += entry.is_regular_file();
    CHECK(files == 1);
}

TEST_CASE("a file that cannot be written gives the system's reason and leaves nothing behind") {
    const TemporaryFolder folder;
    CHECK(write_whole(folder.path() / "none" / "key", "x", 0600, Existing::kept) == ENOENT);
    const auto path = folder.path() / "key";
    std::filesystem::create_directory(path);
    CHECK(write_whole(path, "x", 0600, Existing::replaced) == EISDIR);
    CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 1);
}
