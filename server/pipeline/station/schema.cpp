#include "server/pipeline/station/schema.hpp"

#include <algorithm>
#include <string>
#include <utility>
#include <variant>

#include "server/monitor/limits.hpp"
#include "server/monitor/monitor.hpp"
#include "server/pipeline/checklist/check_tables.hpp"

namespace turnstone {

namespace {

/// The step of a raw value in engineering units, where the calibration leaves steps equal.
void add_step(Column& column, const Field& field) {
    const auto* linear = std::get_if<LinearCalibration>(&field.calibration);
    if (linear == nullptr && !std::holds_alternative<std::monostate>(field.calibration)) return;
    if (field.type == FieldType::unsigned_integer || field.type == FieldType::signed_integer) {
        column.step = linear == nullptr ? 1 : linear->gain;
        column.zero = linear == nullptr ? 0 : linear->offset;
    } else if (field.type == FieldType::ieee754 && field.bit_width == 16 && linear == nullptr) {
        column.step = 0x1p-24; // the least number of that format
    }
}

Column channel_column(const Channel& channel) {
    const Field& field = *channel.field;
    Column column{channel.name, channel.title,  channel.is_word ? "1" : field.unit,
                  field.group,  field.decimals, field.description};
    if (!channel.is_word) column.enumeration = field.enumeration;
    column.is_text = channel.is_text();
    if (!channel.is_word) column.valid_range = field.valid_range;
    if (channel.role) column.role = kRoles[static_cast<std::size_t>(*channel.role)].name;
    column.strip_title = channel.strip.title;
    column.strip_line = channel.strip.line;
    column.limits = drawn_limits(channel);
    add_step(column, field);
    return column;
}

TableId add(Schema& schema, Table table) {
    table.id = static_cast<TableId>(schema.tables.size());
    table.number_count = static_cast<std::size_t>(std::count_if(table.columns.begin(), table.columns.end(),
                                                                [](const Column& column) { return !column.is_text; }));
    schema.tables.push_back(std::move(table));
    return schema.tables.back().id;
}

TableId add(Schema& schema, TableKind kind, int vehicle, std::string name, std::string title,
            const TableDescription& about) {
    return add(schema, {.name = std::move(name),
                        .title = std::move(title),
                        .kind = kind,
                        .vehicle = vehicle,
                        .period_s = about.period_s,
                        .columns = about.columns});
}

void add_packet_tables(Schema& schema, const Dictionary& dictionary, int vehicle) {
    for (const ChannelTable& source : dictionary.tables) {
        const Packet& packet = dictionary.packets[source.packet];
        const bool has_period = source.group != nullptr && source.group->period_ms > 0;
        const double period_ms = has_period ? source.group->period_ms : packet.period_ms;
        const std::string& description = source.group != nullptr && !source.group->description.empty()
                                             ? source.group->description
                                             : packet.description;
        Table table{.name = dictionary.vehicle + "/" + source.name,
                    .title = description.empty() ? source.name : description,
                    .kind = source.group != nullptr ? TableKind::batch : TableKind::packet,
                    .vehicle = vehicle,
                    .period_s = period_ms / 1e3,
                    .columns = std::vector<Column>(source.channels.size())};
        for (const Channel& channel : source.channels) table.columns[channel.place] = channel_column(channel);
        add(schema, std::move(table));
    }
}

} // namespace

SchemaLayout build_schema(const PipelineSetup& setup, const std::vector<estimate::EstimatorChain>& chains) {
    SchemaLayout layout;
    Schema& schema = layout.schema;
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        const Dictionary& dictionary = setup.vehicles[v].dictionary;
        const int vehicle = static_cast<int>(v);
        const auto add_estimate = [&](const TableDescription& about) {
            return add(schema, TableKind::estimate, vehicle, dictionary.vehicle + "/estimate/" + about.name,
                       about.title, about);
        };
        VehicleTables tables{};
        tables.estimates = static_cast<TableId>(schema.tables.size());
        for (const TableDescription& about : chains[v].tables()) add_estimate(about);
        tables.packets = static_cast<TableId>(schema.tables.size());
        add_packet_tables(schema, dictionary, vehicle);
        tables.clock = add_estimate(clock_table().about());
        for (const TableDescription& about : monitor_tables(setup.vehicles[v])) add_estimate(about);
        for (const TableDescription& about : monitor_charge_tables(setup.vehicles[v]))
            add(schema, TableKind::estimate, vehicle, dictionary.vehicle + "/" + about.name, about.title, about);
        layout.vehicles.push_back(tables);
    }
    for (const LinkSetup& link : setup.links) {
        const Dictionary& dictionary = setup.vehicles.at(link.vehicle).dictionary;
        const int vehicle = static_cast<int>(link.vehicle);
        LinkTables tables{};
        tables.totals =
            add(schema, TableKind::link, vehicle, "link/" + link.name, "Link " + link.name, link_table().about());
        if (code_of_link(link.uri))
            tables.code = add(schema, TableKind::link, vehicle, "link/" + link.name + "/code",
                              "Link " + link.name + ", code", code_table().about());
        tables.packets = static_cast<TableId>(schema.tables.size());
        for (const Packet& packet : dictionary.packets)
            add(schema, TableKind::link, vehicle, "link/" + link.name + "." + packet.name,
                "Link " + link.name + ", " + packet.name, link_packet_table().about());
        layout.links.push_back(tables);
    }
    for (Table& table : check_tables(setup, schema)) add(schema, std::move(table));
    return layout;
}

} // namespace turnstone
