/// write_example_settings OUTPUT: the commented settings file, from the table of settings.
#include <cstdio>
#include <fstream>

#include "server/setup/settings.hpp"

int main(int argument_count, char** arguments) {
    if (argument_count != 2) {
        std::fprintf(stderr, "usage: write_example_settings OUTPUT\n");
        return 2;
    }
    std::ofstream output(arguments[1], std::ios::binary);
    output << turnstone::example_settings();
    output.close();
    if (!output) {
        std::fprintf(stderr, "write_example_settings: %s cannot be written; check the folder and its permissions\n",
                     arguments[1]);
        return 1;
    }
    return 0;
}
