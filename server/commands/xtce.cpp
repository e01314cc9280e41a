#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "protocol/xtce/import.hpp"
#include "server/commands/subcommands.hpp"

namespace turnstone {

namespace {

int write_dictionary(const Arguments& given, std::ostream& out, std::ostream& errors) {
    const std::string path = value_of(given, "FILE"), to = value_of(given, "--output");
    const auto xml = read_text_file(path);
    if (!xml) return fail_with(Error{path + " " + xml.error().message}, errors);
    std::vector<Problem> problems;
    const auto made = import_xtce(*xml, path, problems);
    if (!made) return fail_with(problems, errors);
    std::ofstream file(to, std::ios::binary | std::ios::trunc);
    file << made->dictionary;
    file.close();
    if (!file) return fail_with(Error{to + " cannot be written; check the folder and the disk"}, errors);
    out << to << ": " << made->packets << " packets, " << made->fields << " fields\n";
    if (!made->not_carried.empty()) out << "not carried over:\n";
    for (const NotCarried& each : made->not_carried)
        out << "  line " << each.line << ": " << each.what << ": " << each.why << "\n";
    return out ? EXIT_SUCCESS : EXIT_FAILURE;
}

} // namespace

Subcommand xtce_subcommand() {
    return {.name = "xtce",
            .help = "Make a dictionary.json of an XTCE document (CCSDS 660.0-B), and say what was not carried over",
            .arguments =
                {{.name = "FILE", .help = "XTCE document", .required = true},
                 {.name = "-o,--output", .value_name = "FILE", .help = "dictionary.json to write", .required = true}},
            .run = write_dictionary};
}

} // namespace turnstone
