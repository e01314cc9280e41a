#pragma once
/// A subcommand, the word after "turnstone": what it is for, what it takes, what it does. To add one, write a file in
/// this folder with a function that returns it, declare that in subcommands.hpp, and list it in subcommands.cpp.
#include <chrono>
#include <functional>
#include <map>
#include <ostream>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "shared/json_reader.hpp"

namespace turnstone {

struct Argument {
    std::string name;            ///< "--vehicle", or "-o,--output"; without a dash, its place says what it is
    std::string value_name = {}; ///< what help calls the value of an option; empty: an option without a value
    std::string help;
    bool required = false;
    bool repeats = false;
};

/// Values by the last name of each argument ("--output"): every argument is there, with none where it was not given.
using Arguments = std::map<std::string, std::vector<std::string>, std::less<>>;

struct Subcommand {
    std::string name;
    std::string help;
    std::string footer = {}; ///< what its own help ends with
    std::vector<Argument> arguments = {};
    /// Results go to `out`, what went wrong to `errors`. Returns the exit code.
    std::function<int(const Arguments& given, std::ostream& out, std::ostream& errors)> run;
};

inline constexpr int kExitMisused = 2; ///< the command line makes no sense
/// Between two lines that say how far a long job is.
inline constexpr std::chrono::seconds kProgressStep{5};

/// What the program is for, and what it never does, with which help ends.
inline constexpr std::string_view kAbout =
    "Turnstone, a telemetry ground station. It records every byte its links deliver, decodes and checks them,\n"
    "estimates what the vehicle does, and shows it live in browsers.";
inline constexpr std::string_view kSafety =
    "Turnstone only receives. It sends nothing to a vehicle and cannot arm or fire anything. The range safety\n"
    "officer, local law and the site's safety code decide.";

/// The value of an argument that does not repeat; empty when it was not given.
[[nodiscard]] std::string value_of(const Arguments& given, std::string_view name);
[[nodiscard]] std::vector<std::filesystem::path> paths_of(const Arguments& given, std::string_view name);
/// One line each; returns the exit code of a failure.
[[nodiscard]] int fail_with(const std::vector<Problem>& problems, std::ostream& errors);
[[nodiscard]] int fail_with(const Error& error, std::ostream& errors);

/// Runs the subcommand that `words` (the command line after the program's name) begin with, or prints help.
/// Returns the exit code.
[[nodiscard]] int run_command_line(std::span<const Subcommand> subcommands, std::vector<std::string> words,
                                   std::ostream& out, std::ostream& errors);

} // namespace turnstone
