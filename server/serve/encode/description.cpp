#include "server/serve/encode/description.hpp"

#include <utility>

#include <nlohmann/json.hpp>

#include "server/serve/encode/checklist_json.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "shared/geodesy.hpp"
#include "shared/uri.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

json position_json(const GeodeticPosition& position) {
    return {{"latitude_deg", position.latitude_deg},
            {"longitude_deg", position.longitude_deg},
            {"height_m", position.height_m}};
}

json column_json(const Column& column) {
    json range = nullptr;
    if (column.valid_range) range = json::array({column.valid_range->first, column.valid_range->second});
    json enumeration = nullptr;
    if (!column.enumeration.empty()) {
        enumeration = json::object();
        for (const auto& [value, text] : column.enumeration) enumeration[std::to_string(value)] = text;
    }
    json strip = nullptr;
    if (!column.strip_title.empty()) strip = {{"title", column.strip_title}, {"line", column.strip_line}};
    json limits = json::array();
    for (const ColumnLimit& limit : column.limits)
        limits.push_back(
            {{"side", limit.is_low ? "low" : "high"}, {"level", word(limit.level)}, {"value", limit.value}});
    json interval = nullptr;
    if (!column.low_column.empty()) interval = json::array({column.low_column, column.high_column});
    return {{"name", column.name},
            {"title", column.title},
            {"description", column.description},
            {"unit", column.unit},
            {"group", column.group},
            {"decimals", column.decimals},
            {"range", std::move(range)},
            {"limits", std::move(limits)},
            {"enumeration", std::move(enumeration)},
            {"role", column.role.empty() ? json(nullptr) : json(column.role)},
            {"sigma_column", column.sigma_column.empty() ? json(nullptr) : json(column.sigma_column)},
            {"interval", std::move(interval)},
            {"strip", std::move(strip)},
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
            {"period_s", table.period_s},
            {"columns", std::move(columns)}};
}

json site_json(const Site& site) {
    json boundary = json::array();
    for (const GeodeticPosition& corner : site.boundary)
        boundary.push_back({corner.latitude_deg, corner.longitude_deg});
    return {{"name", site.name},
            {"pad", position_json(site.pad)},
            {"station", position_json(site.station)},
            {"declination_deg", site.declination_deg},
            {"antenna_beamwidth_deg", site.antenna_beamwidth_deg},
            {"boundary", std::move(boundary)},
            {"has_terrain", site.terrain.has_value()}};
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

json parachutes_json(const std::vector<Parachute>& parachutes) {
    json out = json::array();
    for (const Parachute& one : parachutes) {
        out.push_back({{"name", one.name}, {"opens_after_s", one.opens_after_s}});
        if (one.opens_below_m) out.back()["opens_below_m"] = *one.opens_below_m;
    }
    return out;
}

/// Where the antenna of a link stands, if its URI says so.
json place_json(const std::string& link_uri) {
    const auto uri = parse_uri(link_uri);
    const auto text = uri ? query_option(uri->query.value_or(""), "place") : std::nullopt;
    const auto place = text ? position_in(*text) : std::nullopt;
    if (!place) return nullptr;
    return {{"latitude_deg", place->latitude_deg}, {"longitude_deg", place->longitude_deg}};
}

} // namespace

json recording_json(const RecordingInfo& info, bool live) {
    json out = recording_members(info, live);
    out["vehicles"] = info.vehicles;
    return out;
}

json description_json(const RecordingInfo& info, bool live, const Schema& schema, const SetupDescription& setup) {
    json vehicles = json::array();
    for (const VehicleDescription& vehicle : setup.vehicles)
        vehicles.push_back({{"name", vehicle.name},
                            {"title", vehicle.title},
                            {"dictionary_version", vehicle.dictionary_version},
                            {"has_rocket", vehicle.has_rocket},
                            {"parachutes", parachutes_json(vehicle.parachutes)},
                            {"procedures", procedures_json(vehicle, schema)},
                            {"readiness", readiness_json(vehicle, schema)}});
    json links = json::array();
    for (const LinkSetup& link : setup.links)
        links.push_back(
            {{"name", link.name}, {"uri", link.uri}, {"vehicle", link.vehicle}, {"place", place_json(link.uri)}});
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

json stored_description(RecordingReader& reader, bool live) {
    const SetupDescription setup = reader.description();
    return description_json(reader.info(), live, reader.schema(), setup);
}

} // namespace turnstone
