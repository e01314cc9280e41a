#include "server/pipeline/schema.hpp"

#include <algorithm>
#include <string>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

Column number(std::string name, std::string description, std::string unit, std::string group, int decimals) {
    Column column;
    column.name = std::move(name);
    column.description = std::move(description);
    column.unit = std::move(unit);
    column.group = std::move(group);
    column.decimals = decimals;
    return column;
}

Column channel_column(const Channel& channel) {
    const Field& field = *channel.field;
    Column column = number(channel.name, field.description, field.unit, field.group, field.decimals);
    column.is_text = field.type == FieldType::text;
    column.valid_range = field.valid_range;
    column.enumeration = field.enumeration;
    column.role = channel.role;
    return column;
}

Column estimate_column(const EstimateColumn& estimate) {
    Column column = number(estimate.name, estimate.description, estimate.unit, estimate.group, estimate.decimals);
    column.enumeration = estimate.enumeration;
    column.sigma_column = estimate.sigma_column;
    return column;
}

const char* const kClockGroup = "Clock";

std::vector<Column> clock_columns() {
    return {
        number("onboard_zero_s", "Station time at which the vehicle's clock was zero, after the start of the recording",
               "s", kClockGroup, 4),
        number("onboard_zero_bound_s", "Bound (about 95 %) of mapped times; the link's smallest delay comes on top",
               "s", kClockGroup, 4),
        number("drift_ppm", "How much the vehicle's clock runs fast of the station's, parts per million", "[ppm]",
               kClockGroup, 1),
        number("drift_bound_ppm", "Bound (about 95 %) of the drift, parts per million", "[ppm]", kClockGroup, 1),
        number("delay_s", "How much longer than the smallest delay the newest packet took", "s", kClockGroup, 3),
        number("boots", "Restarts of the on-board computer seen in this recording", "1", kClockGroup, 0),
        number("utc_offset_s", "System UTC minus station time", "s", "", 4),
        number("utc_bound_s", "Bound (about 95 %) of the UTC of on-board events, the system clock taken as right", "s",
               "", 4),
    };
}

const char* const kLinkGroup = "Link";

void add_windowed(std::vector<Column>& columns, const std::string& name, const std::string& description,
                  const std::string& unit, int decimals) {
    for (const char* window : {"1", "10", "60"})
        columns.push_back(number(name + "_" + window + "s", description + " over " + window + " s", unit,
                                 std::string_view(window) == "10" ? kLinkGroup : "", decimals));
}

void add_packet_counts(std::vector<Column>& columns) {
    columns.push_back(number("received", "Good packets, copies and late ones included", "1", kLinkGroup, 0));
    columns.push_back(number("lost", "Packets missing by gaps in the sequence counts", "1", kLinkGroup, 0));
    columns.push_back(number("copies", "Packets that had come before, by this or another link", "1", "", 0));
    columns.push_back(number("late", "Packets older than one already accepted", "1", "", 0));
    columns.push_back(number("out_of_order", "Packets that came after one with a higher count", "1", "", 0));
    columns.push_back(number("restarts", "Times a sequence count started anew", "1", "", 0));
}

std::vector<Column> link_columns() {
    std::vector<Column> columns{
        number("bytes", "Bytes received", "By", "", 0),
        number("frames_good", "Frames with a correct checksum", "1", kLinkGroup, 0),
        number("frames_bad", "Frames that carry no packet", "1", kLinkGroup, 0),
        number("bad_stuffing", "Frames whose stuffing is wrong", "1", "", 0),
        number("bad_checksum", "Frames whose checksum is wrong", "1", "", 0),
        number("bad_length", "Frames whose length field is wrong", "1", "", 0),
        number("too_long", "Runs of bytes too long for a frame", "1", "", 0),
        number("dropped_bytes", "Bytes that belong to no good frame", "By", "", 0),
    };
    add_packet_counts(columns);
    columns.push_back(number("undecodable", "Good frames that the dictionary cannot read", "1", kLinkGroup, 0));
    columns.push_back(number("idle", "Idle packets", "1", "", 0));
    add_windowed(columns, "byte_rate", "Bytes a second", "By/s", 0);
    add_windowed(columns, "rate", "Packets a second, copies on this link left out", "/s", 1);
    add_windowed(columns, "loss", "Lost of sent packets", "1", 3);
    columns.push_back(number("age_s", "Time since the last good frame", "s", kLinkGroup, 1));
    return columns;
}

std::vector<Column> link_packet_columns() {
    std::vector<Column> columns;
    add_packet_counts(columns);
    add_windowed(columns, "rate", "Packets a second, copies on this link left out", "/s", 1);
    add_windowed(columns, "loss", "Lost of sent packets", "1", 3);
    columns.push_back(number("age_s", "Time since the last one", "s", "", 1));
    // One kind of packet is looked up, not watched.
    for (Column& column : columns) column.group.clear();
    return columns;
}

TableId add(Schema& schema, Table table) {
    table.id = static_cast<TableId>(schema.tables.size());
    table.number_count = static_cast<std::size_t>(std::count_if(table.columns.begin(), table.columns.end(),
                                                                [](const Column& column) { return !column.is_text; }));
    schema.tables.push_back(std::move(table));
    return schema.tables.back().id;
}

void add_packet_tables(Schema& schema, const Dictionary& dictionary, int vehicle) {
    for (const ChannelTable& source : dictionary.tables) {
        const Packet& packet = dictionary.packets[source.packet];
        Table table;
        table.name = dictionary.vehicle + "/" + source.name;
        table.title = packet.description.empty() ? source.name : packet.description;
        table.kind = source.is_batch ? TableKind::batch : TableKind::packet;
        table.vehicle = vehicle;
        table.period_s = (source.is_batch ? packet.batch->period_ms : packet.period_ms) / 1e3;
        for (const bool text : {false, true})
            for (const Channel& channel : source.channels)
                if ((channel.field->type == FieldType::text) == text) table.columns.push_back(channel_column(channel));
        add(schema, std::move(table));
    }
}

} // namespace

SchemaLayout build_schema(const PipelineSetup& setup, const std::vector<EstimatorChain>& chains) {
    SchemaLayout layout;
    Schema& schema = layout.schema;
    const double tick_s = seconds_between(0, kTickNs);
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        const Dictionary& dictionary = setup.vehicles[v].dictionary;
        const int vehicle = static_cast<int>(v);
        VehicleTables tables{};
        tables.packets = static_cast<TableId>(schema.tables.size());
        add_packet_tables(schema, dictionary, vehicle);
        const std::string folder = dictionary.vehicle + "/estimate/";
        tables.clock =
            add(schema, {0, folder + "clock", "Clock", TableKind::estimate, vehicle, tick_s, clock_columns(), 0});
        tables.estimates = static_cast<TableId>(schema.tables.size());
        for (const EstimateTable& estimate : chains[v].tables()) {
            Table table{0, folder + estimate.name, estimate.title, TableKind::estimate, vehicle, estimate.period_s, {},
                        0};
            for (const EstimateColumn& column : estimate.columns) table.columns.push_back(estimate_column(column));
            add(schema, std::move(table));
        }
        layout.vehicles.push_back(tables);
    }
    for (const LinkSetup& link : setup.links) {
        const Dictionary& dictionary = setup.vehicles.at(link.vehicle).dictionary;
        const int vehicle = static_cast<int>(link.vehicle);
        LinkTables tables{};
        tables.totals = add(
            schema, {0, "link/" + link.name, "Link " + link.name, TableKind::link, vehicle, tick_s, link_columns(), 0});
        tables.packets = static_cast<TableId>(schema.tables.size());
        for (const Packet& packet : dictionary.packets)
            add(schema, {0, "link/" + link.name + "." + packet.name, "Link " + link.name + ", " + packet.name,
                         TableKind::link, vehicle, seconds_between(0, kLinkPacketPeriodNs), link_packet_columns(), 0});
        layout.links.push_back(tables);
    }
    return layout;
}

} // namespace turnstone
