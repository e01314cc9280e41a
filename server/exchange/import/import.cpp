#include "server/exchange/import/import.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "protocol/text/column_name.hpp"
#include "server/exchange/import/differences.hpp"
#include "server/exchange/import/log/log_index.hpp"
#include "server/exchange/import/merge.hpp"
#include "server/exchange/import/radio_record.hpp"
#include "server/link/link_uri.hpp"
#include "server/pipeline/link/link_framing.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

/// A part of the work.
debrief::Advance part(const debrief::Advance& advance, double from, double to) {
    return [&advance, from, to](double done) { return advance(from + std::clamp(done, 0.0, 1.0) * (to - from)); };
}

std::string percent_encoded(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
                           c == '_' || c == '.';
        out += plain ? std::string(1, c) : fmt::format("%{:02X}", static_cast<unsigned char>(c));
    }
    return out;
}

/// "log:NAME?framing=...": how its octets are cut, as every link's URI says it.
std::string log_uri(const std::string& name, const FramingOptions& options) {
    std::string uri = "log:" + percent_encoded(name);
    char before = '?';
    for (const auto& [key, value] : options) {
        uri += before + key + "=" + percent_encoded(value);
        before = '&';
    }
    return uri;
}

FramingOptions line_options(const LogMapping& mapping, const std::string& packet) {
    FramingOptions options{{"framing", "text"}, {"packet", packet}};
    if (mapping.separator == '\t' || mapping.separator == ' ')
        options.emplace_back("separator", mapping.separator == ' ' ? "space" : "tab");
    else if (mapping.separator != ',')
        options.emplace_back("separator", std::string(1, mapping.separator));
    if (mapping.decimal == ',') options.emplace_back("decimal", "comma");
    return options;
}

std::string free_link_name(const PipelineSetup& setup) {
    std::string name = "log";
    const auto is_taken = [&] {
        return std::ranges::any_of(setup.links, [&](const LinkSetup& link) { return link.name == name; });
    };
    for (int number = 2; is_taken(); ++number) name = "log-" + std::to_string(number);
    return name;
}

Result<std::size_t> vehicle_of(const PipelineSetup& setup, const std::string& name) {
    std::string names;
    for (std::size_t i = 0; i < setup.vehicles.size(); ++i) {
        const std::string& each = setup.vehicles[i].dictionary.vehicle;
        if (each == name || (name.empty() && setup.vehicles.size() == 1)) return i;
        names += (names.empty() ? "" : ", ") + each;
    }
    return fail((name.empty() ? "the recording has several vehicles; say whose log it is"
                              : "the recording has no vehicle \"" + name + "\"") +
                std::string(": ") + names);
}

/// Adds the log's link, and for a log in columns its packet, to the setup.
struct Joined {
    PipelineSetup setup;
    std::size_t vehicle;
    std::string packet; ///< empty: of a log in packets
    std::size_t clock = 0;
};
Result<Joined> join(PipelineSetup setup, const ImportRequest& request) {
    const auto vehicle = vehicle_of(setup, request.vehicle);
    if (!vehicle) return tl::unexpected(vehicle.error());
    Joined out{std::move(setup), *vehicle, {}};
    FramingOptions options;
    if (request.mapping) {
        auto with_log = with_log_packet(out.setup.vehicles[*vehicle], *request.mapping);
        if (!with_log) return tl::unexpected(with_log.error());
        out.setup.vehicles[*vehicle] = std::move(with_log->vehicle);
        out.packet = with_log->packet;
        const auto& packets = out.setup.vehicles[*vehicle].dictionary.packets;
        out.clock = std::ranges::find(packets, out.packet, &Packet::name)->time->clock;
        options = line_options(*request.mapping, out.packet);
    } else {
        const auto radio = std::ranges::find(out.setup.links, *vehicle, &LinkSetup::vehicle);
        if (radio == out.setup.links.end()) return fail("no link of the recording carries that vehicle");
        if (const auto uri = parse_link_uri(radio->uri)) options = uri->framing;
    }
    out.setup.links.push_back({free_link_name(out.setup), log_uri(request.log_name, options), *vehicle});
    return out;
}

/// A channel with the role, as the radio brought it and as the log has it.
struct Felt {
    ChannelPlace radio, log;
};
std::optional<Felt> felt(const Joined& joined, const ImportRequest& request, AlignBy method) {
    const Dictionary& dictionary = joined.setup.vehicles[joined.vehicle].dictionary;
    const Role role = method == AlignBy::acceleration ? Role::accel_body_x : Role::static_pressure;
    for (const ChannelTable& table : dictionary.tables)
        for (const Channel& channel : table.channels) {
            if (channel.role != role || dictionary.packets[table.packet].name == joined.packet) continue;
            const ChannelPlace radio{&table, &channel};
            if (!request.mapping) return Felt{radio, radio};
            for (const LogColumn& column : request.mapping->columns) {
                const auto meant = find_channel(dictionary, column.channel);
                const auto log = find_channel(dictionary, joined.packet + "." + column_name(column.column));
                if (meant && log && meant->channel == &channel) return Felt{radio, *log};
            }
        }
    return std::nullopt;
}

Signal heard_signal(RecordingReader& reader, const RecordingInfo& info, const std::string& vehicle,
                    const ChannelPlace& place) {
    Signal out;
    for (const Table& table : reader.schema().tables) {
        if (table.name != vehicle + "/" + place.table->name) continue;
        for (std::size_t c = 0; c < table.number_count; ++c) {
            if (table.columns[c].name != place.channel->name) continue;
            RowStream rows = reader.stream({{table.id, {c}}});
            rows.start(info.t_start_ns, info.t_end_ns + 1);
            while (rows.next()) {
                const double t_s = seconds_between(info.t_start_ns, rows.row().t_ns);
                if (rows.row().numbers[0] != rows.row().numbers[0] || (!out.t_s.empty() && t_s <= out.t_s.back()))
                    continue;
                out.t_s.push_back(t_s);
                out.value.push_back(rows.row().numbers[0]);
            }
        }
    }
    return out;
}

struct Read {
    LogIndex log;
    RadioRecord radio;
    LogTimes times;
};

Result<LogIndex> read_joined_log(const Joined& joined, const ImportRequest& request, std::optional<ChannelPlace> signal,
                                 const debrief::Advance& advance) {
    auto log = read_log(request.log, link_framing(joined.setup.links.back().uri),
                        joined.setup.vehicles[joined.vehicle].dictionary, joined.clock, signal, advance);
    if (!log) return log;
    const bool has_time = std::ranges::any_of(log->packets, [](const LogPacket& packet) { return packet.raw_ns >= 0; });
    if (has_time) return log;
    if (request.mapping)
        return fail(fmt::format("{}: no line could be read with a time in \"{}\" ({} lines are too long or no text, {} "
                                "do not fit); check the header line, the separator and the columns' kinds",
                                request.log_name, request.mapping->time_column, log->bad_frames, log->undecodable));
    return fail(fmt::format("{}: no packet was found in {} bytes ({} bad frames, {} packets that the dictionary cannot "
                            "read); is it framed as on the radio, and of this vehicle?",
                            request.log_name, log->bytes, log->bad_frames, log->undecodable));
}

Result<Read> read_and_align(RecordingReader& reader, const RecordingInfo& info, const Joined& joined,
                            const ImportRequest& request, const debrief::Advance& advance) {
    const debrief::Advance first = part(advance, 0, 0.1), second = part(advance, 0.1, 0.2);
    auto radio = read_radio(reader, joined.setup, joined.vehicle, first);
    if (!radio) return tl::unexpected(radio.error());
    std::vector<AlignBy> ways{AlignBy::acceleration, AlignBy::pressure};
    if (!request.mapping || request.mapping->time_is_onboard) ways.insert(ways.begin(), AlignBy::onboard_time);
    if (request.align) ways = {*request.align};
    std::string why;
    for (const AlignBy way : ways) {
        const auto both = way == AlignBy::onboard_time ? std::nullopt : felt(joined, request, way);
        if (way != AlignBy::onboard_time && !both) {
            why += (why.empty() ? "" : "; ") + std::string("the two do not both have ") + std::string(word(way));
            continue;
        }
        auto log = read_joined_log(joined, request, both ? std::optional(both->log) : std::nullopt, second);
        if (!log) return tl::unexpected(log.error());
        auto times =
            both ? times_by_signal(*log,
                                   heard_signal(reader, info, joined.setup.vehicles[joined.vehicle].dictionary.vehicle,
                                                both->radio),
                                   way, info.t_start_ns)
                 : times_by_clock(*log, *radio, info.t_start_ns);
        if (times) return Read{std::move(*log), std::move(*radio), std::move(*times)};
        why += (why.empty() ? "" : "; ") + times.error().message;
    }
    return fail(why);
}

std::vector<ChannelPair> pairs_of(const Joined& joined, const ImportRequest& request) {
    std::vector<ChannelPair> pairs;
    if (!request.mapping) return pairs;
    const Dictionary& dictionary = joined.setup.vehicles[joined.vehicle].dictionary;
    for (const LogColumn& column : request.mapping->columns)
        if (const auto place = find_channel(dictionary, column.channel); place && !place->channel->is_text())
            pairs.push_back({dictionary.vehicle + "/" + place->table->name, place->channel->name,
                             dictionary.vehicle + "/" + joined.packet, column_name(column.column)});
    return pairs;
}

json alignment_json(const LogTimes& times, double since_start_s) {
    return {{"method", word(times.method)},
            {"offset_s", times.zero_s + since_start_s},
            {"sigma_s", times.sigma_s},
            {"drift_ppm", times.drift_ppm},
            {"correlation", times.method == AlignBy::onboard_time ? json(nullptr) : json(times.correlation)},
            {"boots_placed", times.boots_placed}};
}

} // namespace

std::optional<LogMapping> mapping_of(const VehicleSetup& vehicle) {
    const auto file = std::ranges::find(vehicle.files, kLogMappingFile, &FolderFile::name);
    if (file == vehicle.files.end()) return std::nullopt;
    std::vector<Problem> problems;
    const auto parsed = parse_json_text(file->text, file->name, problems);
    return parsed ? read_log_mapping(*parsed, file->name, problems) : std::nullopt;
}

Result<json> import_log(const ImportRequest& request, const debrief::Advance& advance) {
    auto reader = RecordingReader::open(request.recording);
    if (!reader) return tl::unexpected(reader.error());
    const RecordingInfo info = reader->info();
    if (!info.closed) return fail(info.id + " is still being recorded; close it first");
    auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    auto joined = join(std::move(*setup), request);
    if (!joined) return tl::unexpected(joined.error());
    auto read = read_and_align(*reader, info, *joined, request, advance);
    if (!read) return tl::unexpected(read.error());
    const std::vector<Gap> gaps = find_gaps(read->times.t_ns, read->radio.heard_ns);
    const std::int64_t t_start_ns = std::min(info.t_start_ns, read->times.t_ns.front());
    const json alignment = alignment_json(read->times, seconds_between(t_start_ns, info.t_start_ns));
    const MergePlan plan{
        .setup = joined->setup,
        .log_file = request.log,
        .log = read->log,
        .times = read->times,
        .gaps = gaps,
        .name = info.name.empty() ? "With log" : info.name + ", with log",
        .notes = info.notes,
        .facts = {{"merged_from", info.id}, {"log_file", request.log_name}, {"log_alignment", alignment.dump()}}};
    const auto path = write_merged(*reader, plan, request.folder, part(advance, 0.2, 0.95));
    if (!path) return tl::unexpected(path.error());
    const auto remove_and = [&](const Error& error) {
        std::error_code ignored; // it was there a moment ago
        std::filesystem::remove(*path, ignored);
        return tl::unexpected(error);
    };
    auto merged = RecordingReader::open(*path);
    if (!merged) return remove_and(merged.error());
    const auto channels = compare_channels(*merged, pairs_of(*joined, request), part(advance, 0.95, 1));
    if (!channels) return remove_and(channels.error());
    json out = differences_json(compare_packets(read->log, read->times, read->radio), gaps, *channels, t_start_ns);
    out["recording"] = path->stem().string();
    out["file"] = path->filename().string();
    out["alignment"] = alignment;
    return out;
}

} // namespace turnstone::exchange
