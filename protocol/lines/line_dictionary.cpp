#include "protocol/lines/line_dictionary.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/roles.hpp"
#include "protocol/lines/line_values.hpp"
#include "protocol/text/column_name.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kTextOctets = 64;

/// Endings of names, longer ones first.
constexpr std::array<std::pair<std::string_view, std::string_view>, 18> kUnits = {{{"_radps", "rad/s"},
                                                                                   {"_degps", "deg/s"},
                                                                                   {"_mps2", "m/s2"},
                                                                                   {"_mps", "m/s"},
                                                                                   {"_rpm", "{rev}/min"},
                                                                                   {"_deg", "deg"},
                                                                                   {"_rad", "rad"},
                                                                                   {"_hpa", "hPa"},
                                                                                   {"_pa", "Pa"},
                                                                                   {"_mv", "mV"},
                                                                                   {"_ms", "ms"},
                                                                                   {"_hz", "Hz"},
                                                                                   {"_m", "m"},
                                                                                   {"_s", "s"},
                                                                                   {"_v", "V"},
                                                                                   {"_a", "A"},
                                                                                   {"_k", "K"},
                                                                                   {"_c", "Cel"}}};

nlohmann::json time_field(const std::string& name, unsigned coarse, unsigned fine, unsigned fine_hz) {
    return {{"name", name},
            {"type", "time"},
            {"is_packet_time", true},
            {"unit", "s"},
            {"code", {{"format", "counter"}, {"coarse_octets", coarse}, {"fine_octets", fine}, {"fine_hz", fine_hz}}}};
}

nlohmann::json field(const LineColumn& column) {
    const std::string& name = column.name;
    if (column.is_text) return {{"name", name}, {"type", "text"}, {"octets", kTextOctets}};
    nlohmann::json out = {{"name", name}, {"type", "f64"}, {"group", "Line"}};
    if (const auto role = role_from_name(name); role && *role != Role::dictionary_version) {
        out["role"] = name;
        out["unit"] = kRoles[static_cast<std::size_t>(*role)].unit;
        return out;
    }
    const auto ending = std::ranges::find_if(kUnits, [&](const auto& unit) { return name.ends_with(unit.first); });
    if (ending != kUnits.end()) out["unit"] = ending->second;
    return out;
}

} // namespace

std::string line_dictionary_json(std::string_view vehicle, const std::vector<LineColumn>& columns) {
    nlohmann::json fields = nlohmann::json::array();
    for (const LineColumn& column : columns) {
        const std::string& name = column.name;
        const bool has_time = std::ranges::any_of(fields, [](const auto& f) { return f.contains("is_packet_time"); });
        if (name == "time_ms" && !has_time)
            fields.push_back(time_field(name, 0, 4, 1000));
        else if (name == "time_s" && !has_time)
            fields.push_back(time_field(name, 4, 4, 1'000'000));
        else
            fields.push_back(field(column));
    }
    const nlohmann::json out = {{"vehicle", vehicle},
                                {"version", "names-1"},
                                {"packets",
                                 {{{"apid", 1},
                                   {"name", "line"},
                                   {"period_ms", 0},
                                   {"secondary_header", {{"fields", nlohmann::json::array()}}},
                                   {"fields", fields}}}}};
    return out.dump(1);
}

std::vector<LineColumn> columns_of_header(std::string_view header, std::string_view line, char separator,
                                          char decimal) {
    LineValues names, values;
    if (!names.split(std::as_bytes(std::span(header)), separator)) return {};
    const bool has_values =
        values.split(std::as_bytes(std::span(line)), separator) && values.values().size() == names.values().size();
    std::vector<LineColumn> columns;
    for (std::size_t k = 0; k < names.values().size(); ++k) {
        const std::string_view name = names.values()[k];
        columns.push_back({column_name(name), has_values && !line_number(values.values()[k], decimal)});
        if (columns.back().name.empty() || line_number(name, decimal)) return {};
    }
    return columns;
}

} // namespace turnstone
