#pragma once
/// A command line as a person types it, and what comes back.
#include <sstream>
#include <string>
#include <vector>

#include "server/commands/subcommands.hpp"

namespace turnstone::test {

struct Answer {
    int code;
    std::string out;
    std::string errors;
};

inline Answer run_typed(const std::vector<Subcommand>& subcommands, const std::vector<std::string>& words) {
    std::ostringstream out;
    std::ostringstream errors;
    const int code = run_command_line(subcommands, words, out, errors);
    return {code, out.str(), errors.str()};
}

/// With every subcommand there is, and a server without a dashboard.
inline Answer run_typed(const std::vector<std::string>& words) {
    return run_typed(all_subcommands({}), words);
}

} // namespace turnstone::test
