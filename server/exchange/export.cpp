#include "server/exchange/export.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "server/exchange/table/selection.hpp"
#include "server/exchange/write/formats.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr double kTapeSecondsMost = 4e9;
constexpr double kEveryLeast_s = 1e-6;
/// Of one time base: nobody opens more, and nothing would end the writing of a wrong step.
constexpr double kLinesMost = 1e9;

struct FormatAbout {
    Format value;
    std::string_view ending, media_type;
};
constexpr std::array<FormatAbout, kWords<Format>.size()> kFormats{{
    {Format::csv, ".csv", "text/csv; charset=utf-8; header=present"},
    {Format::jsonl, ".jsonl", "application/jsonl"},
    {Format::kml, ".kml", "application/vnd.google-earth.kml+xml"},
    {Format::geojson, ".geojson", "application/geo+json"},
    {Format::gpx, ".gpx", "application/gpx+xml"},
    {Format::npz, ".npz", "application/zip"},
    {Format::hdf5, ".h5", "application/x-hdf5"},
    {Format::raw, ".bin", "application/octet-stream"},
}};

bool is_table_format(Format format) noexcept {
    return format == Format::csv || format == Format::jsonl || format == Format::npz || format == Format::hdf5;
}

Span span_of(const RecordingInfo& info, const ExportRequest& request) {
    return {request.from_ns.value_or(info.t_start_ns), request.to_ns.value_or(info.t_end_ns + 1)};
}

/// The one link that is meant, by its name or "link/NAME"; without a word the only one, of the vehicle if one is given.
Result<LinkId> link_of(const SetupDescription& setup, const ExportRequest& request) {
    std::string names;
    std::vector<LinkId> meant;
    for (std::size_t i = 0; i < setup.links.size(); ++i) {
        const LinkSetup& link = setup.links[i];
        names += (names.empty() ? "" : ", ") + link.name;
        const bool is_named = std::ranges::any_of(request.channels, [&](const std::string& word) {
            return word == link.name || word == "link/" + link.name;
        });
        const bool is_of_vehicle = request.vehicle.empty() || (link.vehicle < setup.vehicles.size() &&
                                                               setup.vehicles[link.vehicle].name == request.vehicle);
        if (request.channels.empty() ? is_of_vehicle : is_named) meant.push_back(static_cast<LinkId>(i));
    }
    if (meant.size() == 1 && request.channels.size() < 2) return meant.front();
    return fail("raw octets are of one link: give its name as the channel; the links are " + names);
}

Result<void> write_places(const Subject& subject, const ExportRequest& request,
                          const std::vector<ColumnChoice>& choices, Span span, Output& out, Steps& steps) {
    switch (request.format) {
    case Format::kml: return write_kml(subject, choices, span, out, steps);
    case Format::geojson: return write_geojson(subject, choices, span, out, steps);
    default: return write_gpx(subject, choices, span, out, steps);
    }
}

Result<void> write_tables(const Subject& subject, const ExportRequest& request, std::vector<ColumnChoice> choices,
                          Span span, const std::filesystem::path& target, Steps& steps) {
    // Without a choice, what has no row would only be empty columns.
    if (request.channels.empty()) choices = with_rows(subject.reader, std::move(choices), span);
    const auto every_ns = static_cast<std::int64_t>(std::llround(request.every_s * 1e9));
    Rows rows(subject.reader, std::move(choices), span, every_ns);
    if (request.format == Format::hdf5) return write_hdf5(subject, rows, target, steps);
    auto out = Output::create(target);
    if (!out) return tl::unexpected(out.error());
    if (request.format == Format::csv) return write_csv(subject, rows, *out, steps);
    if (request.format == Format::npz) return write_npz(subject, rows, *out, steps);
    return write_json_lines(subject, rows, *out, steps);
}

Result<void> write(RecordingReader& reader, const ExportRequest& request, const std::filesystem::path& target,
                   const debrief::Advance& advance) {
    const Subject subject{reader, reader.info(), reader.description()};
    if (!subject.info.damage.empty()) return fail(subject.info.path.string() + ": is damaged: " + subject.info.damage);
    const Span span = span_of(subject.info, request);
    Steps steps(advance, span);
    if (request.format == Format::raw) {
        const auto link = link_of(subject.setup, request);
        if (!link) return tl::unexpected(link.error());
        auto out = Output::create(target);
        return out ? write_raw(subject, *link, span, *out, steps) : tl::unexpected(out.error());
    }
    auto choices = choose_columns(reader.schema(), request.channels, request.vehicle);
    if (!choices) return tl::unexpected(choices.error());
    if (is_table_format(request.format))
        return write_tables(subject, request, std::move(*choices), span, target, steps);
    auto out = Output::create(target);
    return out ? write_places(subject, request, *choices, span, *out, steps) : tl::unexpected(out.error());
}

} // namespace

std::string_view ending_of(Format format) noexcept {
    return kFormats[static_cast<std::size_t>(format)].ending;
}

std::string_view media_type_of(Format format) noexcept {
    return kFormats[static_cast<std::size_t>(format)].media_type;
}

Result<ExportRequest> read_export_words(const ExportWords& words, std::int64_t t_start_ns) {
    ExportRequest out;
    const auto format = std::ranges::find(kWords<Format>, words.format);
    if (format == kWords<Format>.end()) {
        std::string known;
        for (const std::string_view each : kWords<Format>) known += (known.empty() ? "" : ", ") + std::string(each);
        return fail("there is no format \"" + words.format + "\"; there are " + known);
    }
    out.format = static_cast<Format>(format - kWords<Format>.begin());
    out.channels = words_in(words.channels);
    for (const auto& [given, ns] : {std::pair(&words.from_s, &out.from_ns), std::pair(&words.to_s, &out.to_ns)}) {
        if (!*given) continue;
        if (!(std::abs(**given) <= kTapeSecondsMost))
            return fail(fmt::format("{} is not seconds since the recording's start", **given));
        *ns = t_start_ns + static_cast<std::int64_t>(std::llround(**given * 1e9));
    }
    if (out.from_ns && out.to_ns && *out.from_ns >= *out.to_ns)
        return fail("the window ends before it begins: its second time must be greater than its first");
    out.every_s = words.every_s.value_or(0);
    if (words.every_s && !(out.every_s >= kEveryLeast_s && out.every_s <= kTapeSecondsMost))
        return fail(
            fmt::format("a line every {} s cannot be; give a step of at least {} s", out.every_s, kEveryLeast_s));
    if (words.every_s && !is_table_format(out.format))
        return fail("one time base goes with csv, jsonl, npz and hdf5; " + std::string(word(out.format)) +
                    " has its positions as they are");
    return out;
}

Result<void> can_export(RecordingReader& reader, const ExportRequest& request) {
    const RecordingInfo info = reader.info();
    const Span span = span_of(info, request);
    if (span.to_ns <= info.t_start_ns || span.from_ns > info.t_end_ns)
        return fail(fmt::format("the window lies outside the recording, which lasts from 0 to {:.1f} s",
                                static_cast<double>(info.t_end_ns - info.t_start_ns) * 1e-9));
    if (request.format == Format::raw) {
        const auto link = link_of(reader.description(), request);
        return link ? Result<void>() : tl::unexpected(link.error());
    }
    const auto choices = choose_columns(reader.schema(), request.channels, request.vehicle);
    if (!choices) return tl::unexpected(choices.error());
    if (request.every_s > 0 && static_cast<double>(span.to_ns - span.from_ns) * 1e-9 > kLinesMost * request.every_s)
        return fail(fmt::format("a line every {} s would make more than {:.0e} lines; take a longer step or a "
                                "shorter window",
                                request.every_s, kLinesMost));
    return {};
}

Result<void> export_recording(RecordingReader& reader, const ExportRequest& request,
                              const std::filesystem::path& target, const debrief::Advance& advance) {
    if (auto known = can_export(reader, request); !known) return known; // before a file is replaced
    auto written = write(reader, request, target, advance);
    std::error_code ignored; // what was never made is not there
    if (!written && std::filesystem::is_regular_file(target, ignored)) std::filesystem::remove(target, ignored);
    return written;
}

} // namespace turnstone::exchange
