// What a person types, and what comes back.
#include <catch2/catch.hpp>

#include "server/setup/settings.hpp"
#include "tests/commands/command_line.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("Help names every subcommand, and says what the program never does") {
    const Answer answer = run_typed({"--help"});
    CHECK(answer.code == 0);
    CHECK(answer.errors.empty());
    for (const char* word : {"\n  serve ", "\n  check ", "\n  firmware ", "\n  verify ", "\n  reprocess ",
                             "\n  version ", "cannot arm or fire anything"}) {
        INFO(word);
        CHECK_THAT(answer.out, Catch::Contains(word));
    }
}

TEST_CASE("The help of serve has every setting that has an option") {
    const Answer answer = run_typed({"serve", "--help"});
    CHECK(answer.code == 0);
    for (const Setting& setting : settings_table()) {
        INFO(setting.key);
        const std::string option(setting.option);
        if (!option.empty()) CHECK_THAT(answer.out, Catch::Contains("\n  " + option + " "));
    }
    CHECK_THAT(answer.out, Catch::Contains("Default 8321, from 0 to 65535."));
}

TEST_CASE("A command line that makes no sense runs nothing and says why") {
    struct Case {
        std::vector<std::string> words;
        const char* message;
    };
    const Case cases[] = {
        {{}, "subcommand is required"},  {{"fly"}, "there is no subcommand \"fly\""},
        {{"check"}, "PATH is required"}, {{"check", "--fast", "a"}, "--fast"},
        {{"firmware", "a", "b"}, "b"},   {{"serve", "--prot", "1"}, "--prot"},
        {{"serve", "--port"}, "--port"}, {{"reprocess", "a.sqlite", "--output"}, "--output"},
    };
    for (const Case& one : cases) {
        const Answer answer = run_typed(one.words);
        INFO(answer.errors);
        CHECK(answer.code == kExitMisused);
        CHECK(answer.out.empty());
        CHECK_THAT(answer.errors, Catch::Contains(one.message));
    }
}

TEST_CASE("A subcommand is given its arguments by name") {
    Arguments seen;
    const Subcommand probe{.name = "probe",
                           .help = "Probe",
                           .arguments = {{.name = "FILE", .help = "Files", .required = true, .repeats = true},
                                         {.name = "--link", .value_name = "URI", .help = "Links", .repeats = true},
                                         {.name = "-o,--output", .value_name = "DIR", .help = "Output"},
                                         {.name = "--share", .help = "Share"}},
                           .run = [&seen](const Arguments& given, std::ostream& out, std::ostream&) {
                               seen = given;
                               out << "ran\n";
                               return 7;
                           }};
    const Answer answer = run_typed({probe}, {"probe", "a", "--link", "x", "b", "--link", "y", "-o", "d"});
    CHECK(answer.code == 7);
    CHECK(answer.out == "ran\n");
    CHECK(seen == Arguments{{"FILE", {"a", "b"}}, {"--link", {"x", "y"}}, {"--output", {"d"}}, {"--share", {}}});
    CHECK(value_of(seen, "--output") == "d");
    CHECK(value_of(seen, "--share").empty());
    CHECK(paths_of(seen, "FILE") == std::vector<std::filesystem::path>{"a", "b"});

    CHECK(run_typed({probe}, {"probe", "--share", "a"}).code == 7);
    CHECK(seen == Arguments{{"FILE", {"a"}}, {"--link", {}}, {"--output", {}}, {"--share", {"true"}}});
}

TEST_CASE("Settings that serve cannot start from end it with one line each") {
    const Answer answer = run_typed({"serve", "--port", "70000", "--link", "usb:x"});
    CHECK(answer.code == 1);
    CHECK_THAT(answer.errors, Catch::Contains("command line: --port: is 70000; "));
    CHECK_THAT(answer.errors, Catch::Contains("command line: --link: link \"usb:x\""));
    CHECK_THAT(run_typed({"serve"}).errors,
               Catch::Contains("no vehicle is given") && Catch::Contains("no site is given"));
    CHECK_THAT(run_typed({"serve", "--config", "/nowhere.json"}).errors, Catch::Contains("/nowhere.json"));
}

TEST_CASE("firmware writes the header to standard output or to a file") {
    const TemporaryFolder folder;
    const std::string vehicle = demo_path("sanderling").string();
    const Answer printed = run_typed({"firmware", vehicle});
    CHECK(printed.code == 0);
    CHECK_THAT(printed.out, Catch::Contains("#ifndef"));
    const auto file = folder.path() / "telemetry.h";
    const Answer written = run_typed({"firmware", vehicle, "-o", file.string()});
    CHECK(written.code == 0);
    CHECK(written.out.empty());
    CHECK(read_file(file) == printed.out);

    const Answer refused = run_typed({"firmware", vehicle, "-o", (folder.path() / "none/telemetry.h").string()});
    CHECK(refused.code == 1);
    CHECK_THAT(refused.errors, Catch::Contains("none/telemetry.h cannot be written"));
    CHECK(run_typed({"firmware", folder.path().string()}).code == 1);
}

TEST_CASE("verify and reprocess name the file they cannot read") {
    for (const char* subcommand : {"verify", "reprocess"}) {
        const Answer answer = run_typed({subcommand, "/nowhere.sqlite"});
        CHECK(answer.code == 1);
        CHECK_THAT(answer.errors, Catch::StartsWith("turnstone: ") && Catch::Contains("/nowhere.sqlite"));
    }
}
