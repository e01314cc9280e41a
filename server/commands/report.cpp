// A recording's report, written beside it.
#include "server/report/report.hpp"

#include <cstdlib>
#include <fstream>

#include "server/commands/subcommands.hpp"

namespace turnstone {

namespace {

int write_report(const Arguments& given, std::ostream& out, std::ostream& errors) {
    const std::filesystem::path recording = value_of(given, "FILE");
    const auto page = report_page(recording);
    if (!page) return fail_with(page.error(), errors);
    std::filesystem::path target = value_of(given, "--output");
    if (target.empty()) target = std::filesystem::path(recording).replace_extension(".html");
    std::ofstream written(target, std::ios::binary);
    written << *page << std::flush;
    if (!written) return fail_with(Error{target.string() + " cannot be written"}, errors);
    out << target.string() << "\n";
    return EXIT_SUCCESS;
}

} // namespace

Subcommand report_subcommand() {
    return {.name = "report",
            .help = "Write a printable report of a recording's flights, ground tests and poll: one HTML page",
            .arguments = {{.name = "FILE", .help = "Recording", .required = true},
                          {.name = "-o,--output",
                           .value_name = "PAGE.html",
                           .help = "Where to. Default: beside the recording, with its name."}},
            .run = write_report};
}

} // namespace turnstone
