// A recording as a file for other programs.
#include "server/exchange/export.hpp"

#include <charconv>
#include <cstdlib>
#include <system_error>

#include "server/commands/subcommands.hpp"

namespace turnstone {

namespace {

/// Empty: not given.
Result<std::optional<double>> seconds_of(const Arguments& given, const std::string& name) {
    const std::string text = value_of(given, name);
    if (text.empty()) return std::nullopt;
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size())
        return fail(name + " \"" + text + "\" is not a number; give seconds, such as 12.5");
    return value;
}

int export_file(const Arguments& given, std::ostream& out, std::ostream& errors) {
    const std::filesystem::path recording = value_of(given, "FILE");
    auto reader = RecordingReader::open(recording);
    if (!reader) return fail_with(reader.error(), errors);
    exchange::ExportWords words{value_of(given, "--format"), value_of(given, "--channels")};
    for (const auto& [name, value] :
         {std::pair("--from", &words.from_s), std::pair("--to", &words.to_s), std::pair("--every", &words.every_s)}) {
        const auto seconds = seconds_of(given, name);
        if (!seconds) return fail_with(seconds.error(), errors);
        *value = *seconds;
    }
    const auto request = exchange::read_export_words(words, reader->info().t_start_ns);
    if (!request) return fail_with(request.error(), errors);
    std::filesystem::path target = value_of(given, "--output");
    if (target.empty())
        target = std::filesystem::path(recording).replace_extension(exchange::ending_of(request->format));
    const auto written = exchange::export_recording(*reader, *request, target, [](double) { return true; });
    if (!written) return fail_with(written.error(), errors);
    out << target.string() << "\n";
    return EXIT_SUCCESS;
}

} // namespace

Subcommand export_subcommand() {
    return {
        .name = "export",
        .help = "Write a recording, or a part of it, as a file for other programs",
        .footer = "A channel is a column (sanderling/estimate/vertical.altitude_m), a table (sanderling/imu) or\n"
                  "all tables that begin with a word (sanderling); without --channels all that have rows. kml,\n"
                  "geojson and gpx take the positions of the tables meant, raw the bytes of one link.",
        .arguments = {{.name = "FILE", .help = "Recording", .required = true},
                      {.name = "--format",
                       .value_name = "NAME",
                       .help = "csv, jsonl, kml, geojson, gpx, npz, hdf5 or raw",
                       .required = true},
                      {.name = "--from", .value_name = "S", .help = "Seconds since the recording's start"},
                      {.name = "--to", .value_name = "S", .help = "The same, of the end"},
                      {.name = "--channels", .value_name = "A,B", .help = "What to write"},
                      {.name = "--every",
                       .value_name = "S",
                       .help = "One time base: a line each so many seconds, with what is new since the line before"},
                      {.name = "-o,--output",
                       .value_name = "FILE",
                       .help = "Where to. Default: beside the recording, with its name."}},
        .run = export_file};
}

} // namespace turnstone
