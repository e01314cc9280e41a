#include <chrono>
#include <cstdlib>
#include <utility>

#include "server/commands/subcommands.hpp"
#include "server/record/verify.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

/// A line every few seconds while a file is verified.
class ProgressLines {
  public:
    ProgressLines(std::string file, std::ostream& out) : file_(std::move(file)), out_(out) {}
    void operator()(double done) {
        const auto now = std::chrono::steady_clock::now();
        if (now - written_ < kProgressStep) return;
        written_ = now;
        out_ << file_ << ": " << static_cast<int>(done * 100) << " % verified" << std::endl;
    }

  private:
    const std::string file_;
    std::ostream& out_;
    std::chrono::steady_clock::time_point written_ = std::chrono::steady_clock::now();
};

int verify_files(const Arguments& given, std::ostream& out, std::ostream& errors) {
    int code = EXIT_SUCCESS;
    for (const auto& file : paths_of(given, "FILE")) {
        std::vector<Problem> problems;
        auto vehicles = read_vehicle_folders(paths_of(given, "--vehicle"), problems);
        if (!problems.empty()) return fail_with(problems, errors);
        const auto report = verify_recording(file, std::move(vehicles), ProgressLines(file.string(), errors));
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
        for (const std::string& what : report->not_compared) out << "  not compared: " << what << "\n";
    }
    return code;
}

} // namespace

Subcommand verify_subcommand() {
    return {.name = "verify",
            .help = "Process recordings again and compare the result with what they hold, bit for bit",
            .arguments = {{.name = "FILE", .help = "Recording", .required = true, .repeats = true},
                          {.name = "--vehicle",
                           .value_name = "DIR",
                           .help = "Vehicle folder to use in place of the recording's vehicle of that name, when the "
                                   "recording is older than the words this version reads. Repeat for several.",
                           .repeats = true}},
            .run = verify_files};
}

} // namespace turnstone
