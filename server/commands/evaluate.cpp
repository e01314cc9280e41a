// The verdicts of a procedure, from a stored recording: those it was given live, or those that its checks give when
// nobody went through its steps.
#include <cstdlib>
#include <ostream>
#include <string>
#include <vector>

#include "server/commands/subcommands.hpp"
#include "server/pipeline/checklist/procedure.hpp"
#include "server/record/evaluate.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

std::string one_line(const EvaluatedCheck& check) {
    return std::string(word(check.severity)) + "  " + check.id + "  " + check.text;
}

int evaluate_file(const Arguments& given, std::ostream& out, std::ostream& errors) {
    std::vector<Problem> problems;
    auto folders = read_vehicle_folders(paths_of(given, "--with"), problems);
    if (!problems.empty()) return fail_with(problems, errors);
    const auto result = evaluate_procedure(value_of(given, "FILE"), value_of(given, "--procedure"),
                                           value_of(given, "--vehicle"), std::move(folders));
    if (!result) return fail_with(result.error(), errors);
    out << result->vehicle << ", " << result->title << ": " << result->verdict << waived_words(result->waived)
        << (result->was_run ? "" : " (nobody went through its steps: its checks were watched from beginning to end)")
        << "\n";
    for (const EvaluatedCheck& check : result->checks) out << "  " << one_line(check) << "\n";
    return result->holds ? EXIT_SUCCESS : EXIT_FAILURE;
}

} // namespace

Subcommand evaluate_subcommand() {
    return {
        .name = "evaluate",
        .help = "Give the verdicts of a procedure's checks on a recording; fails when a must-check does not hold",
        .arguments = {{.name = "FILE", .help = "Recording", .required = true},
                      {.name = "--procedure",
                       .value_name = "ID",
                       .help = "The procedure: its file's name without .json",
                       .required = true},
                      {.name = "--vehicle",
                       .value_name = "NAME",
                       .help = "Vehicle of the recording that has it. Default: the only one that does."},
                      {.name = "--with",
                       .value_name = "DIR",
                       .help = "Vehicle folder to use in place of the recording's vehicle of that name: other limits, "
                               "or a procedure that the recording does not have. Repeat for several.",
                       .repeats = true}},
        .run = evaluate_file};
}

} // namespace turnstone
