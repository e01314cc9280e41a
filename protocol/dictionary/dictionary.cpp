#include "protocol/dictionary/dictionary.hpp"

#include <algorithm>
#include <map>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/field.hpp"
#include "protocol/dictionary/title.hpp"
#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kPacketsMax = 256;
constexpr std::size_t kFieldsMax = 500;
constexpr std::size_t kChannelsMax = 500; ///< of one table: a recording has a column for each, SQLite takes 2000
constexpr std::int64_t kBatchCountMax = 500;
constexpr double kPeriodMax_ms = 86'400'000.0;

/// The most that fits a frame, CRC included, with worst-case stuffing and the delimiter.
constexpr std::size_t checked_bytes_max() {
    std::size_t bytes = kFrameBytesMax - 1;
    while (bytes + cobs_overhead_max(bytes) + 1 > kFrameBytesMax) --bytes;
    return bytes;
}

std::uint32_t user_data_bytes_max(const TimeCode& time) {
    return static_cast<std::uint32_t>(checked_bytes_max() - kCrc16Bytes - kPrimaryHeaderBytes - time.bytes());
}

std::uint32_t bytes_for(std::uint64_t bits) {
    return static_cast<std::uint32_t>((bits + 7) / 8);
}

/// Names that must not appear twice, and where each appeared first.
class Uniques {
  public:
    void check(JsonReader& reader, std::string_view key, const std::string& name, const std::string& what) {
        if (name.empty()) return;
        const auto [it, is_new] = first_.emplace(name, reader.pointer());
        if (!is_new)
            reader.problem_at(key, what + " \"" + name + "\" appears twice",
                              "must differ from the one at " + it->second);
    }

  private:
    std::map<std::string, std::string> first_;
};

class DictionaryReading {
  public:
    DictionaryReading(Dictionary& dictionary, std::vector<Problem>& problems)
        : dictionary_(dictionary), problems_(problems) {}

    void read(JsonReader& root);

  private:
    void read_time(JsonReader& root);
    void read_packet(JsonReader& reader);
    void read_batch(JsonReader& reader, Packet& packet);
    /// Reads and lays out; returns the bits from the start to the end of the last field.
    /// `prefix` comes before the fields' names in firmware.
    std::uint32_t read_fields(std::vector<JsonReader> readers, const std::string& prefix, const std::string& group,
                              std::vector<Field>& fields);
    bool place(JsonReader& reader, FieldReading& reading, std::uint32_t next_bit, std::uint32_t bits_max);
    void check_roles(JsonReader& reader, const Field& field);
    void make_tables();
    void make_table(std::string name, std::size_t packet, bool is_batch, const std::vector<Field>& fields);

    Dictionary& dictionary_;
    std::vector<Problem>& problems_;
    ByteOrder byte_order_ = ByteOrder::big;
    Uniques packet_names_;
    Uniques apids_;
    Uniques firmware_names_;
    std::map<Role, std::string> role_places_;
};

void DictionaryReading::read(JsonReader& root) {
    root.ignore("$schema");
    dictionary_.vehicle = read_name(root, "vehicle", true);
    dictionary_.title = root.text_or("title", dictionary_.vehicle);
    dictionary_.version = root.text("version");
    byte_order_ = read_byte_order(root).value_or(ByteOrder::big);
    read_time(root);
    auto packets = root.array("packets", 1, kPacketsMax);
    dictionary_.packets.reserve(packets.size());
    for (JsonReader& packet : packets) read_packet(packet);
    root.finish();
    make_tables();
}

void DictionaryReading::read_time(JsonReader& root) {
    auto time = root.object("time");
    if (!time) return;
    TimeCode& code = dictionary_.time;
    if (time->choice("format", {"u32_ms", "cuc"}) == 1) {
        code.kind = TimeCode::Kind::cuc;
        code.coarse_bytes = static_cast<unsigned>(time->integer("coarse_octets", 1, 4));
        code.fine_bytes = static_cast<unsigned>(time->integer("fine_octets", 0, 3));
    }
    time->finish();
}

void DictionaryReading::read_packet(JsonReader& reader) {
    Packet& packet = dictionary_.packets.emplace_back();
    const std::size_t problems_before_size = problems_.size();
    packet.apid = static_cast<std::uint16_t>(reader.integer("apid", 0, kIdleApid - 1));
    if (problems_.size() == problems_before_size) apids_.check(reader, "apid", std::to_string(packet.apid), "APID");
    packet.name = read_name(reader, "name");
    packet_names_.check(reader, "name", packet.name, "packet name");
    if (!packet.name.empty()) firmware_names_.check(reader, "name", packet.name, "firmware name");
    packet.description = reader.text_or("description", "");
    packet.period_ms = reader.number("period_ms", 0.0, kPeriodMax_ms);

    const std::uint32_t bytes_max = user_data_bytes_max(dictionary_.time);
    const std::uint32_t bits =
        read_fields(reader.array_if("fields", kFieldsMax), packet.name, packet.name, packet.fields);
    packet.user_data_bytes = bytes_for(bits);
    read_batch(reader, packet);
    if (reader.is_object() && packet.fields.empty() && !packet.batch)
        reader.problem("has neither fields nor a batch", "must have at least one field");
    if (packet.user_data_bytes > bytes_max)
        reader.problem("has " + std::to_string(packet.user_data_bytes) + " octets of user data",
                       "must have at most " + std::to_string(bytes_max) + " to fit a frame of " +
                           std::to_string(kFrameBytesMax) + " octets; split it or shorten the batch");
    reader.finish();
}

void DictionaryReading::read_batch(JsonReader& reader, Packet& packet) {
    auto inner = reader.object_if("batch");
    if (!inner) return;
    SampleBatch& batch = packet.batch.emplace();
    batch.name = read_name(*inner, "name");
    firmware_names_.check(*inner, "name", packet.name + "_" + batch.name, "firmware name");
    for (const Field& field : packet.fields)
        if (field.name == batch.name)
            inner->problem_at("name", "\"" + batch.name + "\" is already a field of the packet", "choose another name");
    batch.count = static_cast<unsigned>(inner->integer("count", 1, kBatchCountMax));
    batch.period_ms = inner->number("period_ms", 1e-6, kPeriodMax_ms);
    batch.first_offset_ms = inner->number_or("first_offset_ms", -kPeriodMax_ms, kPeriodMax_ms, 0.0);
    batch.bit_offset = 8 * packet.user_data_bytes;
    const std::uint32_t bits =
        read_fields(inner->array("fields", 1, kFieldsMax), packet.name + "_" + batch.name, packet.name, batch.fields);
    batch.sample_bits = 8 * bytes_for(bits);
    packet.user_data_bytes += batch.count * batch.sample_bits / 8;
    inner->finish();
}

std::uint32_t DictionaryReading::read_fields(std::vector<JsonReader> readers, const std::string& prefix,
                                             const std::string& group, std::vector<Field>& fields) {
    const std::uint32_t bits_max = 8 * user_data_bytes_max(dictionary_.time);
    fields.reserve(readers.size());
    Uniques channels;
    std::vector<const std::string*> owner(bits_max, nullptr); // of each bit, by the owner's pointer
    std::vector<std::string> pointers;
    pointers.reserve(readers.size());
    std::uint32_t next_bit = 0;
    std::uint32_t end_bit = 0;
    std::size_t channel_count = 0;
    for (JsonReader& reader : readers) {
        pointers.push_back(reader.pointer());
        FieldReading reading = read_field(reader, {byte_order_, group}, problems_);
        Field& field = reading.field;
        if (!field.name.empty()) firmware_names_.check(reader, "name", prefix + "_" + field.name, "firmware name");
        for (unsigned k = 0; k < field.count; ++k)
            channels.check(reader, "name", field.count == 1 ? field.name : field.name + "_" + std::to_string(k),
                           "channel name");
        check_roles(reader, field);
        channel_count += field.count;
        if (reading.sized && place(reader, reading, next_bit, bits_max)) {
            next_bit = field.bit_offset + field.bit_width * field.count;
            end_bit = std::max(end_bit, next_bit);
            const std::string* other = nullptr;
            for (std::uint32_t bit = field.bit_offset; bit < next_bit; ++bit) {
                other = other != nullptr ? other : owner[bit];
                owner[bit] = &pointers.back();
            }
            if (other != nullptr)
                reader.problem("uses bits " + std::to_string(field.bit_offset) + " to " + std::to_string(next_bit - 1) +
                                   ", some of which belong to " + *other,
                               "must not overlap; leave \"bit_offset\" out or move it");
        }
        fields.push_back(std::move(field));
    }
    if (channel_count > kChannelsMax && !readers.empty())
        readers.front().problem("starts a list of " + std::to_string(channel_count) + " channels",
                                "must be at most " + std::to_string(kChannelsMax) + " in one table");
    return end_bit;
}

bool DictionaryReading::place(JsonReader& reader, FieldReading& reading, std::uint32_t next_bit,
                              std::uint32_t bits_max) {
    Field& field = reading.field;
    field.bit_offset = reading.bit_offset.value_or(next_bit);
    const std::uint64_t end = std::uint64_t{field.bit_offset} + std::uint64_t{field.bit_width} * field.count;
    if (end > bits_max) {
        reader.problem("ends at bit " + std::to_string(end), "must end by bit " + std::to_string(bits_max) +
                                                                 ", the most that fits a frame of " +
                                                                 std::to_string(kFrameBytesMax) + " octets");
        return false;
    }
    const bool on_byte = field.bit_offset % 8 == 0;
    const bool whole_bytes = field.bit_width % 8 == 0;
    if (field.type == FieldType::text && !on_byte)
        reader.problem("a text begins at bit " + std::to_string(field.bit_offset),
                       "must begin on an octet boundary; give a \"bit_offset\" that is a multiple of 8");
    if (field.type == FieldType::text || (field.bit_width <= 8 && !reading.byte_order)) {
        field.byte_order = ByteOrder::big; // one byte or less has no byte order
    } else if (field.byte_order == ByteOrder::little && !(on_byte && whole_bytes)) {
        reader.problem(std::to_string(field.bit_width) + " bits at bit " + std::to_string(field.bit_offset) +
                           " cannot be little-endian",
                       "must be whole octets on an octet boundary, or have \"byte_order\": \"big\"");
    }
    return true;
}

void DictionaryReading::check_roles(JsonReader& reader, const Field& field) {
    for (const Role role : field.roles) {
        const auto [it, is_new] = role_places_.emplace(role, reader.pointer());
        if (!is_new && role != Role::pyro_continuity)
            reader.problem_at(field.count > 1 ? "roles" : "role",
                              "role " + std::string(kRoles[static_cast<std::size_t>(role)].name) + " appears twice",
                              "must be on one channel only; the other is at " + it->second);
    }
}

void DictionaryReading::make_tables() {
    for (std::size_t i = 0; i < dictionary_.packets.size(); ++i) {
        const Packet& packet = dictionary_.packets[i];
        if (!packet.fields.empty()) make_table(packet.name, i, false, packet.fields);
        if (packet.batch) make_table(packet.name + "." + packet.batch->name, i, true, packet.batch->fields);
    }
}

void DictionaryReading::make_table(std::string name, std::size_t packet, bool is_batch,
                                   const std::vector<Field>& fields) {
    ChannelTable table{std::move(name), packet, is_batch, {}, 0, 0};
    for (const Field& field : fields) {
        for (unsigned k = 0; k < field.count; ++k) {
            const bool is_array = field.count > 1;
            Channel channel{.name = is_array ? field.name + "_" + std::to_string(k) : field.name,
                            .title = is_array ? field.title + " " + std::to_string(k) : field.title,
                            .field = &field,
                            .element = k};
            if (k < field.roles.size()) channel.role = field.roles[k];
            channel.place = (channel.is_text() ? table.text_count : table.number_count)++;
            table.channels.push_back(std::move(channel));
        }
    }
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
    dictionary_.tables.push_back(std::move(table));
}

} // namespace

Dictionary read_dictionary(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    Dictionary dictionary;
    JsonReader root(json, file, problems);
    DictionaryReading(dictionary, problems).read(root);
    return dictionary;
}

} // namespace turnstone
