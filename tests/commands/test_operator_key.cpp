// The operator key over restarts: one key, in a file that only its owner reads.
#include <sys/stat.h>

#include <catch2/catch.hpp>

#include "server/commands/operator_key.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("A kept operator key is the same at the next start, and only its owner can read it") {
    const TemporaryFolder folder;
    const auto file = folder.path() / "operator_key";
    const ::mode_t before = ::umask(0);
    const auto first = kept_operator_key(file);
    ::umask(before);
    REQUIRE(first);
    CHECK(first->size() >= 16);
    CHECK(read_file(file) == *first + "\n");
    struct stat status {};
    REQUIRE(::stat(file.c_str(), &status) == 0);
    CHECK((status.st_mode & 0777) == 0600);
    CHECK(folder.names() == std::vector<std::string>{"operator_key"});
    CHECK(kept_operator_key(file).value() == *first);
    CHECK(kept_operator_key(folder.path() / "another").value() != *first);
}

TEST_CASE("A file that cannot keep the operator key is named, with what to do") {
    const TemporaryFolder folder;
    struct Case {
        std::string content;
        std::filesystem::perms mode;
        const char* message;
    };
    using std::filesystem::perms;
    const perms owner = perms::owner_read | perms::owner_write;
    for (const Case& c :
         {Case{"", owner, "delete it"}, Case{"short\n", owner, "delete it"},
          Case{std::string(300, 'k'), owner, "delete it"}, Case{"one key and another\n", owner, "delete it"},
          Case{std::string(32, 'k') + "\n", owner | perms::group_read, "chmod 600"},
          Case{std::string(32, 'k') + "\n", owner | perms::others_read, "chmod 600"}}) {
        const auto file = folder.write("operator_key", c.content);
        std::filesystem::permissions(file, c.mode);
        INFO(c.content);
        const auto kept = kept_operator_key(file);
        REQUIRE_FALSE(kept);
        CHECK_THAT(kept.error().message, Catch::StartsWith(file.string()) && Catch::Contains(c.message));
        CHECK(read_file(file) == c.content);
    }
    CHECK_THAT(kept_operator_key(folder.path() / "none" / "operator_key").error().message,
               Catch::Contains("make its folder"));
}

TEST_CASE("A key that people chose is taken as it is") {
    const TemporaryFolder folder;
    const auto file = folder.write("operator_key", "a-key-of-20-letters.\n");
    std::filesystem::permissions(file, std::filesystem::perms::owner_read);
    CHECK(kept_operator_key(file).value() == "a-key-of-20-letters.");
}

TEST_CASE("Sessions are kept for the key that opened them, and only their owner can read them") {
    const TemporaryFolder folder;
    KeptSessions sessions(folder.path(), "a key");
    CHECK(sessions.read().empty());
    sessions.write();
    CHECK(folder.names().empty());
    sessions.put("[]");
    sessions.put("[1]");
    const ::mode_t before = ::umask(0);
    sessions.write();
    ::umask(before);
    REQUIRE(folder.names() == std::vector<std::string>{"operator_sessions"});
    struct stat status {};
    REQUIRE(::stat((folder.path() / "operator_sessions").c_str(), &status) == 0);
    CHECK((status.st_mode & 0777) == 0600);
    CHECK(sessions.read() == "[1]\n");
    CHECK(KeptSessions(folder.path(), "a key").read() == "[1]\n");
    CHECK(KeptSessions(folder.path(), "another").read().empty());
    // Without any, no file stays.
    KeptSessions none(folder.path(), "mark");
    none.put("");
    none.write();
    CHECK_FALSE(std::filesystem::exists(folder.path() / "operator_sessions"));
}
