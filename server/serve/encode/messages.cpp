#include "server/serve/encode/messages.hpp"

#include <array>
#include <cmath>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/roles.hpp"
#include "server/pipeline/events.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

json number(double value) {
    return std::isfinite(value) ? json(value) : json(nullptr);
}

json position_json(const GeodeticPosition& position) {
    return {{"latitude_deg", position.latitude_deg},
            {"longitude_deg", position.longitude_deg},
            {"height_m", position.height_m}};
}

json column_json(const Column& column) {
    json range = nullptr;
    if (column.valid_range)
        range = json::array({number(column.valid_range->first), number(column.valid_range->second)});
    json enumeration = nullptr;
    if (!column.enumeration.empty()) {
        enumeration = json::object();
        for (const auto& [value, text] : column.enumeration) enumeration[std::to_string(value)] = text;
    }
    return {{"name", column.name},
            {"title", column.title},
            {"description", column.description},
            {"unit", column.unit},
            {"group", column.group},
            {"decimals", column.decimals},
            {"range", std::move(range)},
            {"enumeration", std::move(enumeration)},
            {"role", column.role.empty() ? json(nullptr) : json(column.role)},
            {"sigma_column", column.sigma_column.empty() ? json(nullptr) : json(column.sigma_column)},
            {"text", column.is_text}};
}

json table_json(const Table& table) {
    json columns = json::array();
    for (const Column& column : table.columns) columns.push_back(column_json(column));
    return {{"id", table.id},
            {"name", table.name},
            {"title", table.title},
            {"kind", word(table.kind)},
            {"vehicle", table.vehicle},
            {"period_s", number(table.period_s)},
            {"columns", std::move(columns)}};
}

/// What dictionaries call things, for people.
json roles_json() {
    json roles = json::object();
    for (const RoleInfo& role : kRoles) roles[std::string(role.name)] = role.title;
    return roles;
}

json site_json(const Site& site) {
    json boundary = json::array();
    for (const GeodeticPosition& corner : site.boundary)
        boundary.push_back({corner.latitude_deg, corner.longitude_deg});
    return {{"name", site.name},
            {"pad", position_json(site.pad)},
            {"station", position_json(site.station)},
            {"declination_deg", site.declination_deg},
            {"boundary", std::move(boundary)},
            {"has_terrain", site.terrain.has_value()}};
}

std::string hex(std::span<const std::byte> bytes) {
    constexpr std::string_view digits = "0123456789abcdef";
    std::string out;
    out.reserve(bytes.size() * 2);
    for (const std::byte b : bytes) {
        out.push_back(digits[std::to_integer<unsigned>(b) >> 4]);
        out.push_back(digits[std::to_integer<unsigned>(b) & 15]);
    }
    return out;
}

json recording_members(const RecordingInfo& info, bool live) {
    return {{"id", info.id},
            {"name", info.name},
            {"notes", info.notes},
            {"t_start_ns", std::to_string(info.t_start_ns)},
            {"utc_start_ns", std::to_string(info.utc_start_ns)},
            {"t_end_s", info.t_end_ns < info.t_start_ns ? 0.0 : tape_seconds(info.t_end_ns, info.t_start_ns)},
            {"live", live},
            {"closed", info.closed},
            {"file_bytes", info.file_bytes},
            {"damage", info.damage}};
}

} // namespace

std::string dump(const json& value) {
    return value.dump(-1, ' ', false, json::error_handler_t::replace);
}

json recording_json(const RecordingInfo& info, bool live) {
    json out = recording_members(info, live);
    out["vehicles"] = info.vehicles;
    return out;
}

json description_json(const RecordingInfo& info, bool live, const Schema& schema, const PipelineSetup& setup) {
    json vehicles = json::array();
    for (const VehicleSetup& vehicle : setup.vehicles)
        vehicles.push_back({{"name", vehicle.dictionary.vehicle},
                            {"title", vehicle.dictionary.title},
                            {"dictionary_version", vehicle.dictionary.version},
                            {"has_rocket", vehicle.vehicle.rocket.has_value()}});
    json links = json::array();
    for (const LinkSetup& link : setup.links)
        links.push_back({{"name", link.name}, {"uri", link.uri}, {"vehicle", link.vehicle}});
    json tables = json::array();
    for (const Table& table : schema.tables) tables.push_back(table_json(table));
    return {{"version", 1},
            {"recording", recording_members(info, live)},
            {"software", info.version},
            {"site", site_json(setup.site)},
            {"vehicles", std::move(vehicles)},
            {"links", std::move(links)},
            {"tables", std::move(tables)}};
}

json latest_json(const LatestRows& latest, std::int64_t t_start_ns) {
    json out = json::array();
    for (std::size_t table = 0; table < latest.size(); ++table) {
        if (!latest[table]) continue;
        json values = json::array();
        for (const double value : latest[table]->second) values.push_back(number(value));
        out.push_back(
            {{"table", table}, {"t_s", tape_seconds(latest[table]->first, t_start_ns)}, {"values", std::move(values)}});
    }
    return out;
}

std::uint64_t event_id(const Event& event) noexcept {
    std::uint64_t hash = 0xcbf29ce484222325;
    const auto mix = [&](unsigned char octet) { hash = (hash ^ octet) * 0x100000001b3; };
    for (const std::int64_t t_ns : {event.t_ns, event.t_found_ns})
        for (unsigned shift = 0; shift < 64; shift += 8)
            mix(static_cast<unsigned char>(static_cast<std::uint64_t>(t_ns) >> shift));
    for (const char c : event.key) mix(static_cast<unsigned char>(c));
    mix(0);
    for (const char c : event.text) mix(static_cast<unsigned char>(c));
    return hash >> 11;
}

json event_json(const Event& event, std::int64_t t_start_ns) {
    return {{"id", event_id(event)},
            {"t_s", tape_seconds(event.t_ns, t_start_ns)},
            {"t_found_s", tape_seconds(event.t_found_ns, t_start_ns)},
            {"t_sigma_s", number(event.t_sigma_s)},
            {"kind", word(event.kind)},
            {"level", word(event.level)},
            {"vehicle", event.vehicle},
            {"key", event.key},
            {"text", event.text},
            {"data", json::parse(to_json(event.values))}};
}

json frames_json(const FramePage& page, const std::vector<LinkSetup>& links, std::int64_t t_start_ns) {
    json frames = json::array();
    for (std::size_t i = 0; i < page.frames.size(); ++i) {
        const FrameRecord& frame = page.frames[i];
        frames.push_back({{"id", page.ids[i]},
                          {"t_rx_s", tape_seconds(frame.t_rx_ns, t_start_ns)},
                          {"link", frame.link < links.size() ? links[frame.link].name : std::string()},
                          {"octets", frame.link_octets},
                          {"frame_verdict", word(frame.frame_verdict)},
                          {"packet_verdict", word(frame.packet_verdict)},
                          {"apid", frame.apid < 0 ? json(nullptr) : json(frame.apid)},
                          {"sequence_count", frame.sequence_count < 0 ? json(nullptr) : json(frame.sequence_count)},
                          {"hex", hex(page.bytes[i])}});
    }
    return {{"frames", std::move(frames)}};
}

std::string hello_text(const HelloParts& parts, json description, json latest) {
    return dump({{"type", "hello"},
                 {"version", 1},
                 {"role", parts.is_operator ? "operator" : "viewer"},
                 {"server_id", parts.server_id},
                 {"roles", roles_json()},
                 {"description", std::move(description)},
                 {"mode", parts.replay ? "replay" : "live"},
                 {"latest", std::move(latest)}});
}

std::string event_text(const Event& event, std::int64_t t_start_ns) {
    json out = event_json(event, t_start_ns);
    out["type"] = "event";
    return dump(out);
}

std::string status_text(const std::vector<LinkView>& links, const RecorderStatus& recorder, std::size_t viewers,
                        std::int64_t now_ns, std::int64_t utc_ns, std::optional<std::int64_t> t_start_ns) {
    const auto seconds = [&](std::int64_t t_ns) {
        return t_start_ns && t_ns != 0 ? json(tape_seconds(t_ns, *t_start_ns)) : json(nullptr);
    };
    json link_list = json::array();
    for (const LinkView& link : links)
        link_list.push_back({{"name", link.name},
                             {"state", word(link.state)},
                             {"detail", link.detail},
                             {"bytes", link.bytes},
                             {"t_last_s", seconds(link.t_last_ns)}});
    return dump({{"type", "status"},
                 {"t_s", seconds(now_ns)},
                 {"links", std::move(link_list)},
                 {"recorder",
                  {{"recording", recorder.recording},
                   {"fault", recorder.fault},
                   {"queue_bytes", recorder.queue_bytes},
                   {"dropped_bytes", recorder.bytes_dropped},
                   {"file_bytes", recorder.file_bytes},
                   {"disk_free_bytes", recorder.disk_free_bytes}}},
                 {"viewers", viewers},
                 {"utc_ns", std::to_string(utc_ns)}});
}

std::string gap_text(const Gap& gap) {
    return dump({{"type", "gap"},
                 {"from_seq", gap.from_seq},
                 {"to_seq", gap.to_seq},
                 {"from_t_s", gap.from_t_s},
                 {"to_t_s", gap.to_t_s}});
}

std::string replay_text(const ReplayPosition& position, std::optional<std::int64_t> request, const json* latest) {
    json out{{"type", "replay"},
             {"cursor_s", position.cursor_s},
             {"playing", position.playing},
             {"rate", position.rate},
             {"t_end_s", position.t_end_s}};
    if (request) out["request"] = *request;
    if (latest != nullptr) out["latest"] = *latest;
    return dump(out);
}

std::string error_text(std::string_view message, std::optional<std::int64_t> request) {
    json out{{"type", "error"}, {"message", message}};
    if (request) out["request"] = *request;
    return dump(out);
}

} // namespace turnstone
