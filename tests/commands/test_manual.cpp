// The manual pages say what the program's own help says.
#include <sstream>

#include <catch2/catch.hpp>

#include "server/commands/manual.hpp"
#include "server/commands/subcommands.hpp"
#include "server/setup/settings.hpp"

using namespace turnstone;

namespace {

/// What a reader sees of a page in which no text asks roff for anything: requests gone, escapes undone.
std::string shown(const std::string& page) {
    std::string out;
    std::istringstream lines(page);
    for (std::string line; std::getline(lines, line);) {
        if (line.starts_with(".SH ") || line.starts_with(".SS ")) line = line.substr(4);
        if (line.starts_with(".")) continue;
        for (std::size_t i = 0; i < line.size(); ++i) {
            if (line[i] != '\\') {
                out += line[i];
                continue;
            }
            REQUIRE(i + 1 < line.size());
            switch (line[++i]) {
            case 'e': out += '\\'; break;
            case '-': out += '-'; break;
            case '&': break;
            case 'f': ++i; break;
            default: FAIL("an escape that the page does not mean: " << line);
            }
        }
        out += '\n';
    }
    return out;
}

} // namespace

TEST_CASE("The manual page of the program has every subcommand with every argument and its help") {
    const auto subcommands = all_subcommands({});
    const std::string page = shown(program_manual(subcommands));
    REQUIRE(subcommands.size() > 4);
    for (const Subcommand& subcommand : subcommands) {
        INFO(subcommand.name);
        CHECK_THAT(page, Catch::Contains("turnstone " + subcommand.name) &&
                             Catch::Contains("\n" + subcommand.name + "\n" + subcommand.help + ".\n"));
        for (const Argument& argument : subcommand.arguments) {
            INFO(argument.name);
            CHECK_THAT(page, Catch::Contains("\n" + argument.name) && Catch::Contains(argument.help));
        }
    }
    CHECK_THAT(page, Catch::Contains("cannot arm or fire anything"));
}

TEST_CASE("The manual page of the settings has every setting with its help, its range and its option") {
    const std::string page = shown(settings_manual());
    for (const Setting& setting : settings_table()) {
        INFO(setting.key);
        CHECK_THAT(page, Catch::Contains("\n" + std::string(setting.key) + "\n" + std::string(setting.help)));
        if (!setting.option.empty()) CHECK_THAT(page, Catch::Contains("(" + std::string(setting.option)));
    }
    CHECK_THAT(page, Catch::Contains("Default 8321, from 0 to 65535. (--port PORT)"));
}

TEST_CASE("No text of a manual page is taken for a request") {
    const Subcommand odd{.name = "odd",
                         .help = ".Dots 'quotes' and back\\slashes",
                         .arguments = {{.name = "FILE", .help = "Line\n.so /etc/passwd\n'br\n  table\nend"}},
                         .run = {}};
    const std::string page = program_manual(std::vector{odd});
    CHECK_THAT(page, Catch::Contains("\n\\&.so /etc/passwd\n\\&'br\n.nf\n  table\n.fi\nend\n"));
    CHECK_THAT(shown(page), Catch::Contains(odd.help));
}
