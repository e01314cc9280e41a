#include "protocol/decode/named_tables.hpp"

#include <algorithm>
#include <variant>

#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

const nlohmann::json* by_name(const nlohmann::json& list, std::string_view name) {
    const auto found = std::ranges::find_if(
        list, [&](const nlohmann::json& each) { return each.at("name").get_ref<const std::string&>() == name; });
    return found == list.end() ? nullptr : &*found;
}

/// Of the packet's own table, or of its group.
nlohmann::json columns_of(const nlohmann::json& packet, bool of_group) {
    nlohmann::json own = nlohmann::json::array(), inner = nlohmann::json::array();
    for (const nlohmann::json& field : packet.at("fields"))
        if (field.contains("fields"))
            inner = field.at("fields");
        else
            own.push_back(field);
    return of_group ? inner : own;
}

std::string names_of(const nlohmann::json& list) {
    std::string out;
    for (const nlohmann::json& each : list) out += (out.empty() ? "" : ", ") + each.at("name").get<std::string>();
    return out;
}

} // namespace

void check_named_tables(const NamedTables& tables, const Dictionary& dictionary, const std::string& file,
                        std::vector<Problem>& problems) {
    bool any = false;
    for (const ChannelTable& table : dictionary.tables) {
        const Packet& packet = dictionary.packets[table.packet];
        const nlohmann::json* const made = by_name(tables.packets, packet.name);
        if (made == nullptr) continue;
        any = true;
        const bool of_group = table.group != nullptr;
        const nlohmann::json columns = columns_of(*made, of_group);
        if (columns.empty() && !of_group) continue;
        for (const Channel& channel : table.channels) {
            const std::string where = "/packets: " + table.name + "." + channel.name;
            const nlohmann::json* const column = by_name(columns, channel.name);
            if (column == nullptr) {
                problems.push_back({file, where, "is a column that no " + std::string(tables.one) + " fills",
                                    "expected one of " + names_of(columns)});
                continue;
            }
            const std::string unit = column->value("unit", "1");
            const bool is_free = channel.is_text() || channel.field->unit == unit ||
                                 !std::holds_alternative<std::monostate>(channel.field->calibration) ||
                                 (tables.has_any_unit != nullptr && tables.has_any_unit(packet.name, channel.name));
            if (!is_free)
                problems.push_back({file, where, "has the unit " + channel.field->unit,
                                    std::string(tables.several) + " give it in " + unit});
        }
    }
    if (!any)
        problems.push_back({file, "/packets", "has no packet that " + std::string(tables.several) + " fill",
                            "expected one named " + names_of(tables.packets) + ": see " + std::string(tables.page)});
}

} // namespace turnstone
