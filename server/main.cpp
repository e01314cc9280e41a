#include <cstdlib>
#include <exception>
#include <iostream>

#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include "server/commands/subcommands.hpp"

namespace {

using namespace turnstone;

/// Log lines go to standard error, with UTC.
void set_up_log() {
    auto log = spdlog::stderr_color_mt("turnstone");
    log->set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %^%l%$ %v", spdlog::pattern_time_type::utc);
    spdlog::set_default_logger(std::move(log));
}

} // namespace

int main(int argument_count, char** arguments) {
    try {
        set_up_log();
        return run_command_line(all_subcommands(embedded_assets()), {arguments + 1, arguments + argument_count},
                                std::cout, std::cerr);
    } catch (const std::exception& error) {
        std::cerr << "turnstone: " << error.what() << "\n";
        return EXIT_FAILURE;
    }
}
