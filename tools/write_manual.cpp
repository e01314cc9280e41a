/// write_manual FOLDER: turnstone.1 and turnstone.json.5, from the tables of subcommands and settings.
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "server/commands/manual.hpp"
#include "server/commands/subcommands.hpp"

namespace {

bool write(const std::filesystem::path& file, const std::string& page) {
    std::ofstream output(file, std::ios::binary);
    output << page;
    output.close();
    if (!output)
        std::fprintf(stderr, "write_manual: %s cannot be written; check the folder and its permissions\n",
                     file.c_str());
    return static_cast<bool>(output);
}

} // namespace

int main(int argument_count, char** arguments) {
    if (argument_count != 2) {
        std::fprintf(stderr, "usage: write_manual FOLDER\n");
        return 2;
    }
    const std::filesystem::path folder = arguments[1];
    const bool written = write(folder / "turnstone.1", turnstone::program_manual(turnstone::all_subcommands({}))) &&
                         write(folder / "turnstone.json.5", turnstone::settings_manual());
    return written ? 0 : 1;
}
