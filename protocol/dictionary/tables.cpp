#include "protocol/dictionary/tables.hpp"

#include <string>
#include <utility>

namespace turnstone {
namespace {

void add_channels(ChannelTable& table, const std::vector<Field>& fields) {
    for (const Field& field : fields) {
        for (unsigned k = 0; k < field.count; ++k) {
            const bool is_array = field.count > 1;
            Channel channel{.name = is_array ? field.name + "_" + std::to_string(k) : field.name,
                            .title = is_array ? field.title + " " + std::to_string(k) : field.title,
                            .field = &field,
                            .element = k};
            if (k < field.roles.size()) channel.role = field.roles[k];
            channel.place = (channel.is_text() ? table.text_count : table.number_count)++;
            table.channels.push_back(channel);
            if (field.words.empty()) continue;
            channel.name += "_word";
            channel.title += ", word";
            channel.is_word = true;
            channel.role.reset();
            channel.place = table.text_count++;
            table.channels.push_back(std::move(channel));
        }
    }
}

void make_table(Dictionary& dictionary, std::string name, std::size_t packet, const Group* group,
                const std::vector<Field>& first, const std::vector<Field>& fields) {
    ChannelTable table{std::move(name), packet, group, {}, 0, 0};
    add_channels(table, first);
    add_channels(table, fields);
    for (Channel& channel : table.channels)
        if (channel.is_text()) channel.place += table.number_count;
    std::vector<ChannelLabels> labels;
    for (const Channel& channel : table.channels) {
        const Field& field = *channel.field;
        labels.push_back(
            {channel.name, channel.title, field.unit, field.group, !channel.is_text() && field.enumeration.empty()});
    }
    const auto strips = strips_from_names(labels);
    for (std::size_t i = 0; i < strips.size(); ++i) table.channels[i].strip = strips[i];
    dictionary.tables.push_back(std::move(table));
}

void make_group_tables(Dictionary& dictionary, const std::string& name, std::size_t packet, Layout& layout) {
    for (Group& group : layout.groups) {
        const std::string group_name = name + "." + group.name;
        group.table = dictionary.tables.size();
        make_table(dictionary, group_name, packet, &group, {}, group.layout.fields);
        make_group_tables(dictionary, group_name, packet, group.layout);
    }
}

} // namespace

void make_tables(Dictionary& dictionary) {
    for (std::size_t i = 0; i < dictionary.packets.size(); ++i) {
        Packet& packet = dictionary.packets[i];
        packet.table = dictionary.tables.size();
        if (packet.has_fields())
            make_table(dictionary, packet.name, i, nullptr, packet.header.fields, packet.body.fields);
        make_group_tables(dictionary, packet.name, i, packet.body);
    }
}

} // namespace turnstone
