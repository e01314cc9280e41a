#include "protocol/dictionary/dictionary.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/layout.hpp"
#include "protocol/dictionary/tables.hpp"
#include "protocol/dictionary/time_reading.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kPacketsMax = 256;
constexpr std::size_t kFieldsMax = 500;
constexpr std::size_t kHeaderFieldsMax = 100;
constexpr std::size_t kTablesMax = 1000;
constexpr double kPacketPeriodMax_ms = 86'400'000.0;
constexpr auto kBytesMax = static_cast<std::int64_t>(kPacketBytesMax);
constexpr std::uint32_t kHeaderBits = 8 * kPrimaryHeaderBytes;

std::uint32_t bytes_for(std::uint64_t bits) {
    return static_cast<std::uint32_t>((bits + 7) / 8);
}

class DictionaryReading {
  public:
    DictionaryReading(Dictionary& dictionary, std::vector<Problem>& problems)
        : dictionary_(dictionary), problems_(problems) {
        around_.problems = &problems;
    }

    void read(JsonReader& root);

  private:
    void read_packet(JsonReader& reader);
    /// The secondary header as `reader` has it in "time" or "secondary_header".
    void read_header(JsonReader& reader, Packet& packet, Scope& scope, Surroundings& around, Uniques& channels);
    void set_time(Packet& packet, const TimeCode& code, std::size_t byte);
    void read_size(JsonReader& reader, Packet& packet);
    void read_when(JsonReader& reader, Packet& packet);
    void check_apid(JsonReader& reader, std::size_t index);
    /// Channels that alerts name must be there.
    void check_whiles(JsonReader& reader);

    Dictionary& dictionary_;
    std::vector<Problem>& problems_;
    Surroundings around_;
    Uniques packet_names_;
    const JsonReader* root_ = nullptr;
    std::vector<std::string> pointers_; ///< of packets
};

bool has_header(const JsonReader& reader) {
    return reader.has("time") || reader.has("secondary_header");
}

void DictionaryReading::read(JsonReader& root) {
    root_ = &root;
    const std::size_t problems_before_size = problems_.size();
    root.ignore("$schema");
    dictionary_.vehicle = read_name(root, "vehicle", true);
    dictionary_.title = root.text_or("title", dictionary_.vehicle);
    dictionary_.version = root.text("version");
    around_.byte_order = read_byte_order(root).value_or(ByteOrder::big);
    around_.is_lsb_first = read_bit_order(root, false);
    if (has_header(root)) { // read once for its mistakes, and again for each packet that has no header of its own
        Packet none{};
        Scope scope(none);
        Surroundings alone;
        alone.problems = &problems_;
        alone.byte_order = around_.byte_order;
        alone.is_lsb_first = around_.is_lsb_first;
        alone.packet = &none;
        Uniques channels;
        read_header(root, none, scope, alone, channels);
        dictionary_.clocks.clear();
    }
    root.ignore("time");
    root.ignore("secondary_header");
    auto packets = root.array("packets", 1, kPacketsMax);
    dictionary_.packets.reserve(packets.size());
    for (JsonReader& packet : packets) read_packet(packet);
    root.finish();
    if (problems_.size() != problems_before_size) return;
    make_tables(dictionary_);
    check_whiles(root);
    if (dictionary_.tables.size() > kTablesMax)
        root.problem_at("packets", "give " + std::to_string(dictionary_.tables.size()) + " tables",
                        "must give at most " + std::to_string(kTablesMax) + ": have fewer groups");
}

void DictionaryReading::set_time(Packet& packet, const TimeCode& code, std::size_t byte) {
    auto& clocks = dictionary_.clocks;
    auto clock = std::find(clocks.begin(), clocks.end(), code);
    if (clock == clocks.end()) clock = clocks.insert(clocks.end(), code);
    packet.time = PacketTime{code, static_cast<std::uint32_t>(byte), static_cast<std::size_t>(clock - clocks.begin())};
}

void DictionaryReading::read_header(JsonReader& reader, Packet& packet, Scope& scope, Surroundings& around,
                                    Uniques& channels) {
    if (reader.has("time") && reader.has("secondary_header"))
        reader.problem_at("time", "appears beside \"secondary_header\"",
                          "remove it, and give the header a field of type time");
    if (reader.has("time")) {
        auto time = reader.object("time");
        if (!time) return;
        const TimeCode code = read_time_code(*time);
        packet.header_bytes = code.bytes();
        set_time(packet, code, kPrimaryHeaderBytes);
        return;
    }
    auto header = reader.object("secondary_header");
    if (!header) return;
    const Field* time = nullptr;
    const LayoutPlace place{.name = packet.name, .group = packet.name, .channels = &channels, .packet_time = &time};
    read_layout(header->array("fields", 0, kHeaderFieldsMax), nullptr, place, scope, around, packet.header);
    header->finish();
    const auto& fields = packet.header.fields;
    if (!packet.header.bits_fixed || !packet.header.groups.empty()) {
        header->problem_at("fields", "have no fixed size", "must be single fields or arrays of fixed size");
        return;
    }
    packet.header_bytes = bytes_for(*packet.header.bits_fixed);
    if (time == nullptr) {
        const auto first = std::find_if(fields.begin(), fields.end(), [](const Field& field) {
            return field.type == FieldType::time && field.count == 1;
        });
        if (first != fields.end()) time = &*first;
    }
    if (time != nullptr) set_time(packet, time->time, kPrimaryHeaderBytes + time->bit_offset / 8);
}

void DictionaryReading::read_packet(JsonReader& reader) {
    const std::size_t index = dictionary_.packets.size();
    Packet& packet = dictionary_.packets.emplace_back();
    pointers_.push_back(reader.pointer());
    around_.packet = &packet;
    const std::size_t problems_before_size = problems_.size();
    packet.apid = static_cast<std::uint16_t>(reader.integer("apid", 0, kIdleApid - 1));
    const bool has_apid = problems_.size() == problems_before_size;
    packet.name = read_name(reader, "name");
    if (packet_names_.check(reader, "name", packet.name, "packet name"))
        around_.firmware_names.check(reader, "name", packet.name, "firmware name");
    packet.description = reader.text_or("description", "");
    packet.period_ms = reader.number("period_ms", 0.0, kPacketPeriodMax_ms);

    Scope root(packet);
    Uniques channels;
    Scope header_scope(root, packet.header.fields);
    if (has_header(reader)) {
        read_header(reader, packet, root, around_, channels);
    } else if (has_header(*root_)) {
        std::vector<Problem> reported; // with the dictionary
        Surroundings alone;
        alone.problems = &reported;
        alone.byte_order = around_.byte_order;
        alone.is_lsb_first = around_.is_lsb_first;
        alone.packet = &packet;
        JsonReader again(root_->json(), "", reported);
        read_header(again, packet, root, alone, channels);
    }
    reader.ignore("time");
    reader.ignore("secondary_header");

    const Field* time = nullptr;
    const LayoutPlace place{.name = packet.name, .group = packet.name, .channels = &channels, .packet_time = &time};
    auto fields = reader.array_if("fields", kFieldsMax);
    auto batch = reader.object_if("batch");
    read_layout(std::move(fields), batch ? &*batch : nullptr, place, header_scope, around_, packet.body);
    if (time != nullptr) set_time(packet, time->time, kPrimaryHeaderBytes + packet.header_bytes + time->bit_offset / 8);
    if (reader.is_object() && !packet.has_fields() && packet.body.groups.empty())
        reader.problem("has neither fields nor a batch", "must have at least one field");
    read_size(reader, packet);
    read_when(reader, packet);
    reader.finish();
    if (has_apid) check_apid(reader, index);
}

void DictionaryReading::read_size(JsonReader& reader, Packet& packet) {
    const std::uint64_t least = kPrimaryHeaderBytes + packet.header_bytes + bytes_for(packet.body.bits_min);
    if (least > kPacketBytesMax)
        reader.problem("has " + std::to_string(least) + " octets",
                       "must have at most " + std::to_string(kPacketBytesMax) + "; split it or shorten the batch");
    packet.bytes_min = static_cast<std::uint32_t>(std::max<std::uint64_t>(least, kPrimaryHeaderBytes + 1));
    packet.bytes_max = packet.body.bits_fixed ? packet.bytes_min : static_cast<std::uint32_t>(kPacketBytesMax);
    if (!reader.has("octets")) {
        reader.ignore("octets");
        return;
    }
    std::int64_t from = 0;
    std::int64_t to = 0;
    const std::size_t problems_before_size = problems_.size();
    if (reader.json().find("octets")->is_array()) {
        auto bounds = reader.array("octets", 2, 2);
        if (bounds.size() != 2) return;
        from = static_cast<std::int64_t>(bounds[0].as_number(0, static_cast<double>(kBytesMax)));
        to = static_cast<std::int64_t>(bounds[1].as_number(0, static_cast<double>(kBytesMax)));
    } else {
        from = to = reader.integer("octets", 0, kBytesMax);
    }
    if (problems_.size() != problems_before_size) return;
    if (from > to || to < packet.bytes_min) {
        reader.problem_at("octets", "is less than the " + std::to_string(packet.bytes_min) + " that the fields take",
                          "must be the octets of the whole packet, headers included, or [least, greatest]");
        return;
    }
    packet.bytes_min = std::max(packet.bytes_min, static_cast<std::uint32_t>(from));
    packet.bytes_max = static_cast<std::uint32_t>(to);
    packet.may_have_more = true;
}

void DictionaryReading::read_when(JsonReader& reader, Packet& packet) {
    auto when = reader.object_if("when");
    if (!when) return;
    for (auto& [name, value] : when->members()) {
        PacketCondition condition;
        const Field* field = nullptr;
        std::uint32_t first_bit = kHeaderBits;
        for (const Field& one : packet.header.fields)
            if (one.name == name) field = &one;
        if (field == nullptr) {
            first_bit += 8 * packet.header_bytes;
            for (const Field& one : packet.body.fields)
                if (one.name == name && one.segment == 0) field = &one;
        }
        const auto of_primary_header = primary_header_field(name);
        if (field != nullptr && is_integer(field->type) && field->count == 1)
            condition.at = {first_bit + field->bit_offset,
                            field->bit_width,
                            field->type == FieldType::signed_integer,
                            field->coding,
                            field->byte_order,
                            field->is_lsb_first};
        else if (field == nullptr && of_primary_header)
            condition.at = *of_primary_header;
        else
            when->problem_at(name, "\"" + name + "\" is not an integer that is always at the same place",
                             "must be a field of this packet before anything whose size the packet tells, or of the "
                             "primary header");
        condition.ranges = read_raw_ranges(value);
        packet.when.push_back(std::move(condition));
    }
}

/// Several packets may share an APID when each but the last says what tells it from the others.
void DictionaryReading::check_apid(JsonReader& reader, std::size_t index) {
    const Packet& packet = dictionary_.packets[index];
    for (std::size_t i = 0; i < index; ++i) {
        const Packet& other = dictionary_.packets[i];
        if (other.apid != packet.apid) continue;
        const bool is_told = !other.when.empty() || other.may_have_more;
        const bool is_same =
            other.when == packet.when && other.bytes_min == packet.bytes_min && other.bytes_max == packet.bytes_max;
        if (is_told && !is_same) continue;
        reader.problem_at("apid", "APID " + std::to_string(packet.apid) + " appears twice",
                          "must differ from the one at " + pointers_[i] +
                              R"(, or that one must have a "when" or "octets" that tells it from this one)");
        return;
    }
}

void DictionaryReading::check_whiles(JsonReader& reader) {
    const auto is_number = [&](const std::string& name) {
        return std::ranges::any_of(dictionary_.tables, [&](const ChannelTable& table) {
            return std::ranges::any_of(table.channels, [&](const Channel& channel) {
                return !channel.is_text() && table.name + "." + channel.name == name;
            });
        });
    };
    for (const ChannelTable& table : dictionary_.tables)
        for (const Channel& channel : table.channels)
            for (const ChannelAlert& alert : channel.field->alerts) {
                const std::string& name = alert.only_while.channel;
                if (name.empty() || is_number(name)) continue;
                reader.problem_at("packets",
                                  "\"" + name.substr(0, 64) + "\", which an alert of " + table.name + "." +
                                      channel.name + " waits for, is not a number channel",
                                  "must be packet.channel or packet.group.channel");
            }
}

} // namespace

Dictionary read_dictionary(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    Dictionary dictionary;
    JsonReader root(json, file, problems);
    DictionaryReading(dictionary, problems).read(root);
    for (const Packet& packet : dictionary.packets)
        dictionary.packet_bytes_max = std::max(dictionary.packet_bytes_max, packet.bytes_max);
    return dictionary;
}

} // namespace turnstone
