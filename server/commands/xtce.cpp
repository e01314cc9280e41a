#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "protocol/xtce/export.hpp"
#include "protocol/xtce/import.hpp"
#include "server/commands/subcommands.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

bool is_written(const std::string& text, const std::string& to, std::ostream& errors) {
    std::ofstream file(to, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) (void)fail_with(Error{to + " cannot be written; check the folder and the disk"}, errors);
    return static_cast<bool>(file);
}

int write_xtce(const std::string& folder, const std::string& to, std::ostream& out, std::ostream& errors) {
    std::vector<Problem> problems;
    const auto vehicle = read_vehicle_folder(folder, problems);
    if (!vehicle) return fail_with(problems, errors);
    const XtceExport made = export_xtce(vehicle->dictionary);
    if (made.packets == 0) {
        for (const NotWritten& each : made.not_written)
            problems.push_back({folder, each.where, each.what + " cannot be written", each.why});
        return fail_with(problems, errors);
    }
    if (!is_written(made.xml, to, errors)) return EXIT_FAILURE;
    out << to << ": " << made.packets << " packets, " << made.fields
        << " fields. It is of space packets; no document is of a link that sends lines or sentences.\n";
    if (!made.not_written.empty()) out << "not written, or written otherwise:\n";
    for (const NotWritten& each : made.not_written)
        out << "  " << each.where << ": " << each.what << ": " << each.why << "\n";
    return out ? EXIT_SUCCESS : EXIT_FAILURE;
}

int write_dictionary(const std::string& path, const std::string& to, std::ostream& out, std::ostream& errors) {
    const auto xml = read_text_file(path);
    if (!xml) return fail_with(Error{path + " " + xml.error().message}, errors);
    std::vector<Problem> problems;
    const auto made = import_xtce(*xml, path, problems);
    if (!made) return fail_with(problems, errors);
    if (!is_written(made->dictionary, to, errors)) return EXIT_FAILURE;
    out << to << ": " << made->packets << " packets, " << made->fields << " fields\n";
    if (!made->not_carried.empty()) out << "not carried over:\n";
    for (const NotCarried& each : made->not_carried)
        out << "  line " << each.line << ": " << each.what << ": " << each.why << "\n";
    return out ? EXIT_SUCCESS : EXIT_FAILURE;
}

int convert(const Arguments& given, std::ostream& out, std::ostream& errors) {
    const std::string from = value_of(given, "FILE"), to = value_of(given, "--output");
    return std::filesystem::is_directory(from) ? write_xtce(from, to, out, errors)
                                               : write_dictionary(from, to, out, errors);
}

} // namespace

Subcommand xtce_subcommand() {
    return {
        .name = "xtce",
        .help =
            "Make a dictionary.json of an XTCE document (CCSDS 660.0-B), or a document of a vehicle folder, and say "
            "what was not carried over",
        .arguments = {{.name = "FILE", .help = "XTCE document, or vehicle folder", .required = true},
                      {.name = "-o,--output",
                       .value_name = "FILE",
                       .help = "dictionary.json, or document, to write",
                       .required = true}},
        .run = convert};
}

} // namespace turnstone
