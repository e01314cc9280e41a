/// firmware_header DICTIONARY OUTPUT: the C99 header of a dictionary, made at build time for programs of this
/// repository.
#include <cstdio>
#include <exception>
#include <fstream>

#include <nlohmann/json.hpp>

#include "protocol/firmware/generate.hpp"

namespace {

int run(const char* dictionary_path, const char* output_path) {
    std::vector<turnstone::Problem> problems;
    std::string header;
    if (const auto json = turnstone::parse_json_file(dictionary_path, problems)) {
        const turnstone::Dictionary dictionary = turnstone::read_dictionary(*json, dictionary_path, problems);
        if (problems.empty()) header = turnstone::generate_firmware_header(dictionary);
    }
    if (!problems.empty()) {
        std::fprintf(stderr, "%s\n", turnstone::to_string(problems).c_str());
        return 1;
    }
    std::ofstream output(output_path, std::ios::binary);
    output << header;
    output.close();
    if (!output) {
        std::fprintf(stderr, "%s: cannot be written; check the folder and its permissions\n", output_path);
        return 1;
    }
    return 0;
}

} // namespace

int main(int argument_count, char** arguments) {
    if (argument_count != 3) {
        std::fprintf(stderr, "usage: firmware_header DICTIONARY OUTPUT\n");
        return 2;
    }
    try {
        return run(arguments[1], arguments[2]);
    } catch (const std::exception& error) {
        std::fprintf(stderr, "firmware_header: %s\n", error.what());
        return 1;
    }
}
