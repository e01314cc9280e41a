#include "server/commands/manual.hpp"

#include <sstream>

#include "server/setup/settings.hpp"

namespace turnstone {

namespace {

/// Text as it is: roff takes a backslash, and a dot or an apostrophe at the start of a line, for its own, and makes a
/// typographic hyphen of a dash, which nobody can paste into a shell.
std::string plain(std::string_view text) {
    std::string out;
    for (const char c : text) {
        if ((c == '.' || c == '\'') && (out.empty() || out.back() == '\n')) out += "\\&";
        if (c == '\\')
            out += "\\e";
        else if (c == '-')
            out += "\\-";
        else
            out += c;
    }
    return out;
}

/// A value's name, or nothing.
std::string value_of_option(const std::string& name) {
    return name.empty() ? "" : " \\fI" + plain(name) + "\\fR";
}

/// Help as the program prints it. Lines that begin with a space belong to a table and stay lines.
void write_help(std::ostream& out, const std::string& help) {
    std::istringstream lines(help);
    bool in_table = false;
    for (std::string line; std::getline(lines, line);) {
        if (line.starts_with(' ') != in_table) out << (in_table ? ".fi\n" : ".nf\n");
        in_table = line.starts_with(' ');
        out << plain(line) << "\n";
    }
    if (in_table) out << ".fi\n";
}

void write_head(std::ostream& out, std::string_view name, std::string_view section, std::string_view about) {
    out << ".TH \"" << name << "\" " << section << " \"\" \"Turnstone " TURNSTONE_VERSION "\"\n.SH NAME\n"
        << plain(name) << " \\- " << plain(about) << "\n";
}

void write_argument(std::ostream& out, const Argument& argument) {
    out << ".TP\n";
    if (argument.name.starts_with('-'))
        out << "\\fB" << plain(argument.name) << "\\fR" << value_of_option(argument.value_name) << "\n";
    else
        out << "\\fI" << plain(argument.name) << "\\fR" << (argument.repeats ? " ..." : "") << "\n";
    write_help(out, argument.help);
}

/// "turnstone verify [options] FILE ...".
void write_synopsis(std::ostream& out, const Subcommand& subcommand) {
    bool has_options = false;
    std::string places;
    for (const Argument& argument : subcommand.arguments) {
        const bool is_option = argument.name.starts_with('-');
        has_options = has_options || is_option;
        if (!is_option) places += " \\fI" + plain(argument.name) + "\\fR" + (argument.repeats ? " ..." : "");
    }
    out << "\\fBturnstone " << plain(subcommand.name) << "\\fR" << (has_options ? " [options]" : "") << places << "\n";
}

} // namespace

std::string program_manual(std::span<const Subcommand> subcommands) {
    std::ostringstream out;
    write_head(out, "turnstone", "1", "telemetry ground station for volunteer rocketry");
    out << ".SH SYNOPSIS\n.nf\n";
    for (const Subcommand& subcommand : subcommands) write_synopsis(out, subcommand);
    out << ".fi\n.SH DESCRIPTION\n" << plain(kAbout) << "\n.SH SUBCOMMANDS\n";
    for (const Subcommand& subcommand : subcommands) {
        out << ".SS " << plain(subcommand.name) << "\n" << plain(subcommand.help) << ".\n";
        for (const Argument& argument : subcommand.arguments) write_argument(out, argument);
    }
    out << ".SH EXIT STATUS\n0: done, and nothing was lost or found wrong. 1: something was; standard error says what. "
        << kExitMisused << ": the command line makes no sense.\n"
        << ".SH FILES\n.TP\n/etc/turnstone/turnstone.json\nSettings of the service, see turnstone.json(5).\n"
        << ".TP\n/var/lib/turnstone\nRecordings and the operator key of the service.\n"
        << ".TP\n/usr/share/doc/turnstone\nThe manual, and what stands on the link and in the stream.\n"
        << ".SH SAFETY\n"
        << plain(kSafety) << "\n.SH SEE ALSO\nturnstone.json(5)\n";
    return out.str();
}

std::string settings_manual() {
    std::ostringstream out;
    write_head(out, "turnstone.json", "5", "settings of a Turnstone server");
    out << ".SH DESCRIPTION\n";
    write_help(out, settings_preamble());
    out << ".SH SETTINGS\n";
    for (const Setting& setting : settings_table()) {
        out << ".TP\n\\fB" << plain(setting.key) << "\\fR\n";
        write_help(out, key_help(setting));
    }
    out << ".SH SEE ALSO\nturnstone(1)\n";
    return out.str();
}

} // namespace turnstone
