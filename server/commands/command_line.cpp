// The only file that includes CLI11, whose headers are slow to compile.
#include <algorithm>
#include <cstdlib>
#include <utility>

#include <CLI/CLI.hpp>

#include "server/commands/subcommand.hpp"
#include "server/setup/wrapped.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kHelpColumns = 78; // beside the names

std::string help_text(const std::string& text) {
    std::string out;
    for (const std::string& line : wrapped(text, kHelpColumns)) out += (out.empty() ? "" : "\n") + line;
    return out;
}

void add_argument(CLI::App& parser, const Argument& argument) {
    const std::string help = help_text(argument.help);
    const bool by_place = !argument.name.starts_with('-');
    if (!by_place && argument.value_name.empty()) {
        parser.add_flag(argument.name, help);
        return;
    }
    CLI::Option* const option = parser.add_option(argument.name, help);
    option->type_name(argument.value_name)->required(argument.required);
    if (by_place && argument.repeats)
        option->expected(CLI::detail::expected_max_vector_size); // one at least
    else if (argument.repeats)
        option->take_all()->expected(1);
}

std::string last_name(const std::string& name) {
    return name.substr(name.find(',') + 1);
}

Arguments given_to(const CLI::App& parser, const Subcommand& subcommand) {
    Arguments out;
    for (const Argument& argument : subcommand.arguments) {
        const std::string name = last_name(argument.name);
        out[name] = parser.get_option(name)->results();
    }
    return out;
}

} // namespace

std::string value_of(const Arguments& given, std::string_view name) {
    const auto found = given.find(name);
    return found == given.end() || found->second.empty() ? std::string() : found->second.front();
}

std::vector<std::filesystem::path> paths_of(const Arguments& given, std::string_view name) {
    const auto found = given.find(name);
    if (found == given.end()) return {};
    return {found->second.begin(), found->second.end()};
}

int fail_with(const std::vector<Problem>& problems, std::ostream& errors) {
    errors << to_string(problems) << "\n";
    return EXIT_FAILURE;
}

int fail_with(const Error& error, std::ostream& errors) {
    errors << "turnstone: " << error.message << "\n";
    return EXIT_FAILURE;
}

int run_command_line(std::span<const Subcommand> subcommands, std::vector<std::string> words, std::ostream& out,
                     std::ostream& errors) {
    CLI::App app{std::string(kAbout), "turnstone"};
    app.footer(std::string(kSafety));
    app.require_subcommand(1);
    app.get_formatter()->label("OPTIONS", "options");
    app.get_formatter()->label("REQUIRED", "(required)");
    app.get_formatter()->label("Positionals", "Arguments");
    app.get_formatter()->label("SUBCOMMAND", "subcommand");
    std::vector<const CLI::App*> parsers;
    for (const Subcommand& subcommand : subcommands) {
        CLI::App* const parser = app.add_subcommand(subcommand.name, subcommand.help);
        parser->footer(subcommand.footer);
        for (const Argument& argument : subcommand.arguments) add_argument(*parser, argument);
        parsers.push_back(parser);
    }
    const auto is_first = [&words](const Subcommand& subcommand) { return subcommand.name == words.front(); };
    if (!words.empty() && !words.front().starts_with('-') && std::ranges::none_of(subcommands, is_first)) {
        errors << "turnstone: there is no subcommand \"" << words.front() << "\"; see \"turnstone --help\"\n";
        return kExitMisused;
    }
    std::ranges::reverse(words); // as CLI11 takes them
    try {
        app.parse(std::move(words));
    } catch (const CLI::ParseError& error) {
        return app.exit(error, out, errors) == EXIT_SUCCESS ? EXIT_SUCCESS : kExitMisused;
    }
    const auto parsed = std::ranges::find_if(parsers, [](const CLI::App* parser) { return parser->parsed(); });
    const Subcommand& subcommand = subcommands[static_cast<std::size_t>(parsed - parsers.begin())];
    const int code = subcommand.run(given_to(**parsed, subcommand), out, errors);
    out.flush();
    return code;
}

} // namespace turnstone
