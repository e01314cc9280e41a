#include <cstdlib>

#include "server/commands/subcommands.hpp"

namespace turnstone {

Subcommand version_subcommand() {
    return {.name = "version",
            .help = "Print the version",
            .run =
                [](const Arguments&, std::ostream& out, auto&) {
                    out << "turnstone " TURNSTONE_VERSION "\n";
                    return EXIT_SUCCESS;
                }};
}

} // namespace turnstone
