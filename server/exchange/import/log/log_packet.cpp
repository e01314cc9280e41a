// The packet of the dictionary that the lines of a log are.
#include <algorithm>
#include <map>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/roles.hpp"
#include "protocol/text/column_name.hpp"
#include "server/exchange/import/log/log_mapping.hpp"
#include "server/pipeline/vehicle_texts.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

constexpr std::uint16_t kApidMost = 2046;
constexpr std::size_t kTextOctets = 64;

/// A time code of its own: rows of the log are timed by what came with them, whatever else counts on board.
json time_field(const LogMapping& mapping) {
    json code = {{"format", "counter"}, {"coarse_octets", 0}, {"fine_octets", 8}, {"fine_hz", 1000}};
    if (mapping.time_unit == TimeUnit::us) code["fine_hz"] = 1'000'000;
    if (mapping.time_unit == TimeUnit::s)
        code = {{"format", "counter"}, {"coarse_octets", 7}, {"fine_octets", 4}, {"fine_hz", 1'000'000'000}};
    return {{"name", column_name(mapping.time_column)},
            {"type", "time"},
            {"is_packet_time", true},
            {"unit", "s"},
            {"code", std::move(code)}};
}

/// How many more channels may have each role.
class RolesLeft {
  public:
    explicit RolesLeft(const Dictionary& dictionary) {
        for (const ChannelTable& table : dictionary.tables)
            for (const Channel& channel : table.channels)
                if (channel.role) ++used_[*channel.role];
    }
    bool take(Role role) {
        constexpr unsigned kChosenFrom = 2;
        if (role_channels_max(role) < kChosenFrom || used_[role] >= kChosenFrom) return false;
        ++used_[role];
        return true;
    }

  private:
    std::map<Role, unsigned> used_;
};

json column_field(const LogColumn& column, const Dictionary& dictionary, RolesLeft& roles) {
    const std::string name = column_name(column.column);
    if (column.is_text) return {{"name", name}, {"type", "text"}, {"octets", kTextOctets}, {"group", "On-board log"}};
    json out = {{"name", name}, {"type", "f64"}, {"group", "On-board log"}};
    if (!column.title.empty()) out["title"] = column.title;
    if (!column.unit.empty()) out["unit"] = column.unit;
    if (column.gain != 1 || column.offset != 0)
        out["calibration"] = {{"linear", {{"gain", column.gain}, {"offset", column.offset}}}};
    const auto like = find_channel(dictionary, column.channel);
    if (!like) return out;
    const Field& field = *like->channel->field;
    if (column.title.empty()) out["title"] = like->channel->title + ", log";
    if (column.unit.empty()) out["unit"] = field.unit;
    out["decimals"] = field.decimals;
    if (out["unit"] != field.unit) return out;
    if (field.valid_range) out["valid_range"] = {field.valid_range->first, field.valid_range->second};
    if (like->channel->role && roles.take(*like->channel->role))
        out["role"] = kRoles[static_cast<std::size_t>(*like->channel->role)].name;
    return out;
}

} // namespace

Result<VehicleWithLog> with_log_packet(const VehicleSetup& vehicle, const LogMapping& mapping) {
    std::vector<Problem> problems;
    auto dictionary = parse_json_text(vehicle.dictionary_json, "dictionary.json", problems);
    if (!dictionary) return fail(to_string(problems));
    const auto is_taken = [&](const std::string& name) {
        return std::ranges::any_of(vehicle.dictionary.packets, [&](const Packet& p) { return p.name == name; });
    };
    std::string packet = "log";
    for (int number = 2; is_taken(packet); ++number) packet = "log_" + std::to_string(number);
    std::uint16_t apid = kApidMost;
    while (std::ranges::any_of(vehicle.dictionary.packets, [&](const Packet& p) { return p.apid == apid; }))
        if (apid-- == 0) return fail("the dictionary has no APID left for the log's lines");
    RolesLeft roles(vehicle.dictionary);
    json fields = json::array({time_field(mapping)});
    for (const LogColumn& column : mapping.columns) {
        if (!column.channel.empty() && !find_channel(vehicle.dictionary, column.channel))
            return fail("the log's column \"" + column.column + "\" is to be \"" + column.channel +
                        "\", which the dictionary does not have; give TABLE.CHANNEL, such as baro.static_pressure");
        fields.push_back(column_field(column, vehicle.dictionary, roles));
    }
    (*dictionary)["packets"].push_back({{"apid", apid},
                                        {"name", packet},
                                        {"description", "On-board log"},
                                        {"period_ms", 0},
                                        {"secondary_header", {{"fields", json::array()}}},
                                        {"fields", std::move(fields)}});
    std::vector<FolderFile> files = vehicle.files;
    std::erase_if(files, [](const FolderFile& file) { return file.name == kLogMappingFile; });
    files.push_back({kLogMappingFile, to_json(mapping).dump(2)});
    std::ranges::sort(files, {}, &FolderFile::name);
    auto made = read_vehicle_texts(dictionary->dump(1), vehicle.vehicle_json, "log", problems, std::move(files));
    if (!made) return fail(to_string(problems));
    return VehicleWithLog{std::move(*made), packet};
}

} // namespace turnstone::exchange
