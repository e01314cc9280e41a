#include <cstdlib>
#include <fstream>

#include "protocol/firmware/generate.hpp"
#include "server/commands/subcommands.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

int write_header(const Arguments& given, std::ostream& out, std::ostream& errors) {
    std::vector<Problem> problems;
    const auto vehicle = read_vehicle_folder(value_of(given, "FOLDER"), problems);
    if (!vehicle) return fail_with(problems, errors);
    const std::vector<std::string> obstacles = firmware_obstacles(vehicle->dictionary);
    for (const std::string& obstacle : obstacles)
        problems.push_back({value_of(given, "FOLDER"), "dictionary.json", obstacle, "write its encoder by hand"});
    if (!obstacles.empty()) return fail_with(problems, errors);
    const std::string header = generate_firmware_header(vehicle->dictionary);
    const std::string path = value_of(given, "--output");
    if (path.empty()) {
        out << header;
        return out ? EXIT_SUCCESS : EXIT_FAILURE;
    }
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << header;
    file.close();
    if (!file) return fail_with(Error{path + " cannot be written; check the folder and the disk"}, errors);
    return EXIT_SUCCESS;
}

} // namespace

Subcommand firmware_subcommand() {
    return {.name = "firmware",
            .help = "Write the C99 header with which the flight computer encodes its packets",
            .arguments = {{.name = "FOLDER", .help = "Vehicle folder", .required = true},
                          {.name = "-o,--output",
                           .value_name = "FILE",
                           .help = "File to write; without it, the header goes to standard output"}},
            .run = write_header};
}

} // namespace turnstone
