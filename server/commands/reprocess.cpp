#include "server/record/reprocess.hpp"

#include <cstdlib>
#include <utility>

#include "server/commands/subcommands.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

int reprocess_file(const Arguments& given, std::ostream& out, std::ostream& errors) {
    std::vector<Problem> problems;
    auto vehicles = read_vehicle_folders(paths_of(given, "--vehicle"), problems);
    if (!problems.empty()) return fail_with(problems, errors);
    const std::filesystem::path file = value_of(given, "FILE");
    std::filesystem::path folder = value_of(given, "--output");
    if (folder.empty()) folder = file.has_parent_path() ? file.parent_path() : ".";
    const auto made = reprocess(file, std::move(vehicles), folder);
    if (!made) return fail_with(made.error(), errors);
    out << made->string() << "\n";
    return EXIT_SUCCESS;
}

} // namespace

Subcommand reprocess_subcommand() {
    return {.name = "reprocess",
            .help = "Make a new recording from an old one's bytes, with the estimators of this version; from a damaged "
                    "one's, of what is whole",
            .arguments = {{.name = "FILE", .help = "Recording", .required = true},
                          {.name = "--vehicle",
                           .value_name = "DIR",
                           .help = "Vehicle folder to use in place of the recording's vehicle of that name. Repeat for "
                                   "several.",
                           .repeats = true},
                          {.name = "-o,--output",
                           .value_name = "DIR",
                           .help = "Folder of the new recording. Default: that of the old one."}},
            .run = reprocess_file};
}

} // namespace turnstone
