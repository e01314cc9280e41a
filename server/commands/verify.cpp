#include <cstdlib>

#include "server/commands/subcommands.hpp"
#include "server/record/reprocess.hpp"

namespace turnstone {

namespace {

int verify_files(const Arguments& given, std::ostream& out, std::ostream& errors) {
    int code = EXIT_SUCCESS;
    for (const auto& file : paths_of(given, "FILE")) {
        const auto report = verify_recording(file);
        if (!report) {
            code = fail_with(report.error(), errors);
            continue;
        }
        out << file.string() << ": " << report->chunks << " chunks and " << report->actions << " actions give ";
        if (report->differences == 0) {
            out << "the same " << report->frames << " frames, " << report->rows << " rows and " << report->events
                << " events, bit for bit\n";
        } else {
            out << report->differences << " differences; the first: " << report->first_difference << "\n";
            code = EXIT_FAILURE;
        }
    }
    return code;
}

} // namespace

Subcommand verify_subcommand() {
    return {.name = "verify",
            .help = "Process recordings again and compare the result with what they hold, bit for bit",
            .arguments = {{.name = "FILE", .help = "Recording", .required = true, .repeats = true}},
            .run = verify_files};
}

} // namespace turnstone
