// An on-board log, or another station's recording, joined with the recording of a flight.
#include "server/exchange/import/import.hpp"
#include "server/exchange/import/other_station.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/commands/subcommands.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone {

namespace {

using nlohmann::json;

constexpr std::size_t kLinesMost = 20;

/// The file, or else the one of the vehicle's folder that the recording holds.
Result<std::optional<exchange::LogMapping>> mapping_for(const std::filesystem::path& file,
                                                        const std::filesystem::path& recording,
                                                        const std::string& vehicle, bool is_packets) {
    if (is_packets) return std::nullopt;
    std::vector<Problem> problems;
    if (!file.empty()) {
        const auto parsed = parse_json_file(file, problems);
        auto mapping = parsed ? exchange::read_log_mapping(*parsed, file.string(), problems) : std::nullopt;
        if (!problems.empty()) return fail(to_string(problems));
        return mapping;
    }
    auto reader = RecordingReader::open(recording);
    if (!reader) return tl::unexpected(reader.error());
    const auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    for (const VehicleSetup& each : setup->vehicles)
        if (vehicle.empty() || each.dictionary.vehicle == vehicle)
            if (auto mapping = exchange::mapping_of(each)) return mapping;
    return std::nullopt;
}

std::string seconds_text(const json& seconds) {
    return fixed(seconds.get<double>(), 3) + " s";
}

void write_differences(const json& made, std::ostream& out) {
    const json& alignment = made.at("alignment");
    out << "aligned by " << alignment.at("method").get<std::string>() << ": the log's clock read zero "
        << rounded(alignment.at("offset_s"), alignment.at("sigma_s"), 6) << " s after the recording's start";
    if (!alignment.at("correlation").is_null())
        out << ", correlation " << fixed(alignment.at("correlation").get<double>(), 3);
    out << "\n";
    const json& packets = made.at("packets");
    const auto count = [&](const char* name) { return packets.at(name).get<std::size_t>(); };
    if (count("both") + count("log_only") + count("differing") > 0) // none: a log in columns
        out << count("both") << " packets in both, " << count("log_only") << " in the log only, " << count("radio_only")
            << " on the radio only, " << count("differing") << " with other content\n";
    const json& gaps = made.at("gaps");
    for (std::size_t i = 0; i < std::min(gaps.size(), kLinesMost); ++i)
        out << "radio gap from " << seconds_text(gaps[i].at("from_s")) << " to " << seconds_text(gaps[i].at("to_s"))
            << ": " << gaps[i].at("packets") << " packets of the log\n";
    if (gaps.size() > kLinesMost) out << "and " << gaps.size() - kLinesMost << " more gaps\n";
    for (const json& channel : made.at("channels")) {
        out << channel.at("channel").get<std::string>() << ": ";
        if (channel.at("n") == 0) {
            out << "nothing to compare\n";
            continue;
        }
        const double sd = channel.at("sd").is_null() ? 0 : channel.at("sd").get<double>();
        out << "log less radio " << significant(channel.at("mean").get<double>(), 4)
            << " in the mean, standard deviation " << significant(sd, 3) << ", worst "
            << significant(channel.at("worst").get<double>(), 4) << " " << channel.at("unit").get<std::string>()
            << " at " << seconds_text(channel.at("at_s")) << " (" << channel.at("n") << " values)\n";
    }
}

/// Tells how far the work is, now and then.
debrief::Advance progress_on(std::ostream& errors) {
    return [&errors, told = std::chrono::steady_clock::now()](double done) mutable {
        const auto now = std::chrono::steady_clock::now();
        if (now - told >= kProgressStep) {
            told = now;
            errors << fmt::format("{:.0f} % done", 100 * done) << std::endl;
        }
        return true;
    };
}

void write_links(const json& made, std::ostream& out) {
    const json& alignment = made.at("alignment");
    const double offset_s = alignment.at("offset_s").get<double>();
    const std::string_view side = offset_s < 0 ? "behind" : "ahead";
    if (alignment.at("method") == "utc")
        out << "the two have too few packets in common: the other station's times are taken by UTC, as both computers "
               "had it\n";
    else
        out << "the other station's clock was " << rounded(std::abs(offset_s), alignment.at("sigma_s"), 6) << " s "
            << side << ", by " << alignment.at("packets") << " packets that both received; drift "
            << fixed(alignment.at("drift_ppm").get<double>(), 1) << " ppm\n";
    for (const json& link : made.at("links")) {
        const auto count = [&](const char* name) { return link.value(name, 0.0); };
        out << link.at("name").get<std::string>()
            << fmt::format(": {:.0f} packets, {:.0f} heard first and {:.0f} only here; "
                           "{:.0f} bad frames, {:.0f} of them combined\n",
                           count("received"), count("first_here"), count("only_here"), count("frames_bad"),
                           count("combined_from"));
    }
}

int import_other(const exchange::OtherStationRequest& request, std::ostream& out, std::ostream& errors) {
    const auto made = exchange::import_station(request, progress_on(errors));
    if (!made) return fail_with(made.error(), errors);
    write_links(*made, out);
    out << (request.folder / made->at("file").get<std::string>()).string() << "\n";
    return EXIT_SUCCESS;
}

int import_file(const Arguments& given, std::ostream& out, std::ostream& errors) {
    exchange::ImportRequest request{.recording = value_of(given, "FILE"),
                                    .vehicle = value_of(given, "--vehicle"),
                                    .log = value_of(given, "--log"),
                                    .log_name = {},
                                    .mapping = {},
                                    .align = {},
                                    .folder = value_of(given, "--output")};
    request.log_name = request.log.filename().string();
    if (request.folder.empty()) request.folder = request.recording.parent_path();
    if (request.folder.empty()) request.folder = ".";
    const std::string other = value_of(given, "--recording");
    if (request.log.empty() == other.empty())
        return fail_with(Error{"give --log, an on-board log, or --recording, what another station recorded"}, errors);
    if (!other.empty()) return import_other({request.recording, other, request.folder}, out, errors);
    if (const std::string by = value_of(given, "--align"); !by.empty()) {
        const auto known = std::ranges::find(kWords<exchange::AlignBy>, by);
        if (known == kWords<exchange::AlignBy>.end())
            return fail_with(Error{"--align \"" + by + "\": give onboard_time, acceleration or pressure"}, errors);
        request.align = static_cast<exchange::AlignBy>(known - kWords<exchange::AlignBy>.begin());
    }
    const bool is_packets = !value_of(given, "--packets").empty();
    auto mapping = mapping_for(value_of(given, "--mapping"), request.recording, request.vehicle, is_packets);
    if (!mapping) return fail_with(mapping.error(), errors);
    if (!*mapping && !is_packets)
        return fail_with(
            Error{"what the log's columns mean is not known: give --mapping log.json, put that file into the "
                  "vehicle's folder before the flight, or say --packets for a log framed as on the radio"},
            errors);
    request.mapping = std::move(*mapping);
    const auto made = exchange::import_log(request, progress_on(errors));
    if (!made) return fail_with(made.error(), errors);
    write_differences(*made, out);
    out << (request.folder / made->at("file").get<std::string>()).string() << "\n";
    return EXIT_SUCCESS;
}

} // namespace

Subcommand import_subcommand() {
    return {.name = "import",
            .help = "Join the log of a flight computer, or another station's recording, with the recording of a flight",
            .footer =
                "The result is a new recording that holds every byte of both. Gaps of the radio are filled from the\n"
                "log and marked by notes. Of another station's recording its links become further links; packets that\n"
                "came both ways are duplicates, and damaged frames of both are combined. The last line is the new\n"
                "file; before it stands where the two differ, or what each link brought.",
            .arguments = {{.name = "FILE", .help = "Recording", .required = true},
                          {.name = "--log", .value_name = "FILE", .help = "The on-board log"},
                          {.name = "--recording",
                           .value_name = "FILE",
                           .help = "In place of a log: what another station recorded of the same flight"},
                          {.name = "--mapping",
                           .value_name = "log.json",
                           .help = "What its columns mean. Default: log.json of the vehicle's folder, as recorded."},
                          {.name = "--packets", .help = "The log is packets, framed as on the vehicle's radio link"},
                          {.name = "--vehicle", .value_name = "NAME", .help = "Whose log it is, of several"},
                          {.name = "--align",
                           .value_name = "BY",
                           .help = "onboard_time, acceleration or pressure. Default: the first that is in both."},
                          {.name = "-o,--output",
                           .value_name = "DIR",
                           .help = "Folder for the new recording. Default: that of the recording."}},
            .run = import_file};
}

} // namespace turnstone
