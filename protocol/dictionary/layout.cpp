#include "protocol/dictionary/layout.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "protocol/packet/space_packet.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kLayoutFieldsMax = 500;
constexpr std::size_t kChannelsMax = 500; ///< of one table: a recording has a column for each, SQLite takes 2000
constexpr std::size_t kGroupDepthMax = 3; ///< each is in the ones around it
constexpr std::int64_t kGroupCountMax = 65'536;
constexpr std::int64_t kBatchCountMax = 500;
constexpr double kPeriodMax_ms = 86'400'000.0;
constexpr std::uint32_t kBitsMax = 8 * (kPacketBytesMax - kPrimaryHeaderBytes);

std::uint64_t to_bytes(std::uint64_t bits) {
    return (bits + 7) / 8 * 8;
}

std::uint32_t field_bits(const Field& field) {
    return field.bit_width * field.count;
}

bool needs_byte(const Field& field) {
    return field.is_text() || field.type == FieldType::time;
}

/// Bits that are taken, each by whom.
class Taken {
  public:
    /// The pointer of an owner of one of the bits; empty: they were free. They are taken now.
    std::string take(std::uint32_t begin, std::uint32_t end, bool is_lsb_first, const std::string& pointer) {
        std::string other;
        const auto add = [&](std::uint32_t from, std::uint32_t to) {
            for (const Range& range : ranges_)
                if (other.empty() && from < range.end && range.begin < to && range.pointer != pointer)
                    other = range.pointer;
            ranges_.push_back({from, to, pointer});
        };
        if (!is_lsb_first) {
            add(begin, end);
            return other;
        }
        // Counted from the other side of each byte: whole bytes are the same ones, the bits of a part of a byte are
        // not.
        while (begin < end) {
            const std::uint32_t byte = begin / 8 * 8;
            const bool is_whole = begin == byte && end - begin >= 8;
            const std::uint32_t stop = is_whole ? end / 8 * 8 : std::min(end, byte + 8);
            is_whole ? add(begin, stop) : add(byte + 8 - (stop - byte), byte + 8 - (begin - byte));
            begin = stop;
        }
        return other;
    }

  private:
    struct Range {
        std::uint32_t begin, end;
        std::string pointer;
    };
    std::vector<Range> ranges_;
};

class LayoutReading {
  public:
    LayoutReading(const LayoutPlace& place, Scope& outer, Surroundings& around, Layout& layout, std::size_t depth)
        : place_(place), scope_(outer, layout.fields), around_(around), layout_(layout), depth_(depth) {}

    void read(std::vector<JsonReader>& readers, JsonReader* batch);

  private:
    void read_one(JsonReader& reader);
    void read_group(JsonReader& reader, bool is_batch);
    void read_values(JsonReader& reader);
    void add_array_group(JsonReader& reader, FieldReading& reading);
    /// False: it has no place.
    bool place(JsonReader& reader, FieldReading& reading);
    bool place_part(JsonReader& reader, FieldReading& reading);
    void check_alignment(JsonReader& reader, FieldReading& reading);
    void check_roles(JsonReader& reader, const Field& field);
    void check_name(JsonReader& reader, const Field& field);
    void check_firmware_name(JsonReader& reader, const std::string& name);
    void add_segment(Segment::Then then, std::size_t index);
    void measure();
    void check_extent(JsonReader& reader, std::string_view key, Extent& extent);
    [[nodiscard]] LayoutPlace place_of_group(const Group& group, Uniques& channels, bool is_on_byte) const;
    [[nodiscard]] Segment& segment() { return layout_.segments.back(); }

    const LayoutPlace& place_;
    Scope scope_;
    Surroundings& around_;
    Layout& layout_;
    std::size_t depth_;
    Taken taken_;
    std::map<std::string, std::uint32_t> next_part_bit_; ///< of fields with parts
    std::uint32_t next_bit_ = 0;                         ///< of the segment
    std::size_t channel_count_ = 0;
    Extent* to_end_ = nullptr; ///< what takes all that is left
    std::size_t to_end_segment_ = 0;
    std::vector<JsonReader> to_end_reader_; ///< one or none
};

void LayoutReading::read(std::vector<JsonReader>& readers, JsonReader* batch) {
    layout_.segments.resize(1);
    layout_.fields.reserve(readers.size());
    layout_.groups.reserve(readers.size() + 1);
    for (JsonReader& reader : readers) read_one(reader);
    if (channel_count_ > kChannelsMax)
        readers.front().problem("starts a list of " + std::to_string(channel_count_) + " channels",
                                "must be at most " + std::to_string(kChannelsMax) + " in one table");
    if (batch != nullptr) read_group(*batch, true);
    measure();
}

void LayoutReading::read_one(JsonReader& reader) {
    if (reader.has("spare_bits")) {
        const auto bits = static_cast<std::uint32_t>(reader.integer("spare_bits", 1, kBitsMax));
        reader.finish();
        if (next_bit_ + bits > kBitsMax)
            reader.problem("ends beyond the largest packet", "must end by bit " + std::to_string(kBitsMax));
        else
            next_bit_ += bits;
        segment().bits = std::max(segment().bits, next_bit_);
    } else if (reader.has("fields")) {
        read_group(reader, false);
    } else {
        read_values(reader);
    }
}

/// Of a channel, and of its elements and words; then in firmware, where it stands behind the packet's name.
void LayoutReading::check_name(JsonReader& reader, const Field& field) {
    bool is_new = true;
    const auto check_channel = [&](const std::string& name) {
        is_new = place_.channels->check(reader, "name", name, "channel name") && is_new;
        ++channel_count_;
    };
    for (unsigned k = 0; k < field.count; ++k) {
        const std::string name = field.count == 1 ? field.name : field.name + "_" + std::to_string(k);
        if (field.name.empty())
            ++channel_count_;
        else
            check_channel(name);
        if (!field.words.empty() && !field.name.empty()) check_channel(name + "_word");
    }
    if (is_new) check_firmware_name(reader, field.name);
}

void LayoutReading::check_firmware_name(JsonReader& reader, const std::string& name) {
    if (!name.empty()) around_.firmware_names.check(reader, "name", place_.name + "_" + name, "firmware name");
}

void LayoutReading::read_values(JsonReader& reader) {
    FieldReading reading =
        read_field(reader, {around_.byte_order, around_.is_lsb_first, place_.group}, scope_, *around_.problems);
    Field& field = reading.field;
    if (!reading.count.is_fixed()) return add_array_group(reader, reading);
    check_name(reader, field);
    check_roles(reader, field);
    const bool is_placed = reading.is_sized && place(reader, reading);
    layout_.fields.push_back(std::move(field));
    Field& added = layout_.fields.back();
    if (added.type == FieldType::time && place_.packet_time != nullptr && is_placed) {
        const bool is_first = *place_.packet_time == nullptr;
        if (reading.is_packet_time && !is_first)
            reader.problem_at("is_packet_time", "is on a second time", "must be on one time of a packet");
        if (reading.is_packet_time && (added.segment != 0 || added.count != 1))
            reader.problem_at("is_packet_time", "is on a time that is not always at the same place",
                              "must be on a single time before anything whose size the packet tells");
        if (is_first && reading.is_packet_time) *place_.packet_time = &added;
    } else if (reading.is_packet_time) {
        reader.problem_at("is_packet_time", "is in a group", "must be in the packet's own fields");
    }
    if (!added.extent.is_fixed()) {
        check_extent(reader, "octets", added.extent);
        add_segment(Segment::Then::field, layout_.fields.size() - 1);
    }
}

void LayoutReading::check_extent(JsonReader& reader, std::string_view key, Extent& extent) {
    if (extent.by != Extent::By::to_end) return;
    if (place_.is_in_group) {
        reader.problem_at(key, "reaches to the packet's end inside a group", "must be told by a field there");
    } else if (to_end_ != nullptr) {
        reader.problem_at(key, "is the second to reach to the packet's end", "must be told by a field");
        to_end_reader_.clear();
    } else {
        to_end_ = &extent;
        to_end_segment_ = layout_.segments.size() - 1;
        to_end_reader_.push_back(reader);
    }
}

LayoutPlace LayoutReading::place_of_group(const Group& group, Uniques& channels, bool is_on_byte) const {
    return {.name = place_.name + "_" + group.name,
            .group = place_.group,
            .channels = &channels,
            .is_in_group = true,
            .is_on_byte = is_on_byte};
}

/// An array whose count the packet tells: a group of one field.
void LayoutReading::add_array_group(JsonReader& reader, FieldReading& reading) {
    Group& group = layout_.groups.emplace_back();
    group.name = reading.field.name;
    group.description = reading.field.description;
    group.count = reading.count;
    if (place_.channels->check(reader, "name", group.name, "channel name")) check_firmware_name(reader, group.name);
    check_extent(reader, "count", group.count);
    check_roles(reader, reading.field);
    if (!reading.field.extent.is_fixed())
        reader.problem_at("octets", "is told by the packet, and so is the count", "must be a number, or use a group");
    if (!reading.part_of.empty())
        reader.problem_at("part_of", "is on an array whose count the packet tells", "remove it");
    if (reading.bit_offset)
        reader.problem_at("bit_offset", "is on an array whose count the packet tells",
                          "remove it: the array comes after the field before it");
    next_bit_ = std::max(next_bit_, segment().bits);
    Uniques channels;
    const LayoutPlace place = place_of_group(group, channels, next_bit_ % 8 == 0 && place_.is_on_byte);
    group.layout.segments.resize(1);
    LayoutReading inner(place, scope_, around_, group.layout, depth_ + 1);
    reading.field.slot = kNoSlot;
    if (reading.is_sized) {
        (void)inner.place(reader, reading);
        if (!place.is_on_byte || field_bits(reading.field) % 8 != 0) {
            const bool is_little = reading.field.byte_order == ByteOrder::little && !reading.field.is_lsb_first;
            if (needs_byte(reading.field) || is_little)
                reader.problem("does not always begin on an octet boundary",
                               R"(must be big-endian numbers, or have "spare_bits" before it)");
        }
    }
    group.layout.fields.push_back(std::move(reading.field));
    inner.measure();
    add_segment(Segment::Then::group, layout_.groups.size() - 1);
}

void LayoutReading::read_group(JsonReader& reader, bool is_batch) {
    if (depth_ >= kGroupDepthMax) {
        reader.problem("is a group inside too many groups",
                       "must be inside " + std::to_string(kGroupDepthMax - 1) + " others at most");
        return;
    }
    Group& group = layout_.groups.emplace_back();
    group.name = read_name(reader, "name");
    if (place_.channels->check(reader, "name", group.name, "channel name")) check_firmware_name(reader, group.name);
    group.description = reader.text_or("description", "");
    if (is_batch) {
        group.count.number = static_cast<std::uint32_t>(reader.integer("count", 1, kBatchCountMax));
        group.period_ms = reader.number("period_ms", 1e-6, kPeriodMax_ms);
        group.is_padded = true;
    } else {
        if (reader.has("count")) group.count = read_extent(reader, "count", 1, kGroupCountMax, scope_, false);
        group.period_ms = reader.number_or("period_ms", 0.0, kPeriodMax_ms, 0.0);
        if (auto when = reader.object_if("when"))
            for (auto& [name, value] : when->members()) {
                const Slot slot = scope_.slot_of(*when, name, name);
                group.when.push_back({slot, read_raw_ranges(value)});
            }
    }
    group.first_offset_ms = reader.number_or("first_offset_ms", -kPeriodMax_ms, kPeriodMax_ms, 0.0);
    next_bit_ = std::max(next_bit_, segment().bits);
    if (is_batch) next_bit_ = static_cast<std::uint32_t>(to_bytes(next_bit_));

    Uniques channels;
    const std::size_t problems_before_size = around_.problems->size();
    auto readers = reader.array("fields", 1, kLayoutFieldsMax);
    LayoutPlace place = place_of_group(group, channels, (next_bit_ % 8 == 0 && place_.is_on_byte) || is_batch);
    LayoutReading inner(place, scope_, around_, group.layout, depth_ + 1);
    inner.read(readers, nullptr);
    const bool is_clean = problems_before_size == around_.problems->size();
    if (is_clean && group.layout.bits_min == 0)
        reader.problem("takes no bits", "must have a field of at least one bit that is always there");
    const bool is_once = group.count.is_fixed() && group.count.number == 1;
    const bool stays_on_byte =
        place.is_on_byte && (is_once || group.is_padded || group.layout.segments.back().bits % 8 == 0);
    const bool needs = std::any_of(group.layout.fields.begin(), group.layout.fields.end(), [](const Field& field) {
        return needs_byte(field) || (field.byte_order == ByteOrder::little && !field.is_lsb_first);
    });
    if (is_clean && !stays_on_byte && (needs || !group.layout.groups.empty()))
        reader.problem("has fields that do not always begin on an octet boundary",
                       R"(must be a whole number of octets; add "spare_bits")");
    for (const std::string_view key : {"count", "period_ms", "when", "first_offset_ms"})
        if (!is_batch || key != "when") reader.ignore(key);
    reader.finish();
    check_extent(reader, "count", group.count);
    add_segment(Segment::Then::group, layout_.groups.size() - 1);
}

void LayoutReading::add_segment(Segment::Then then, std::size_t index) {
    segment().bits = std::max(segment().bits, next_bit_);
    segment().then = then;
    segment().index = index;
    layout_.segments.emplace_back();
    next_bit_ = 0;
    taken_ = {};
}

bool LayoutReading::place_part(JsonReader& reader, FieldReading& reading) {
    Field& field = reading.field;
    const auto whole = std::find_if(layout_.fields.begin(), layout_.fields.end(),
                                    [&](const Field& other) { return other.name == reading.part_of; });
    if (whole == layout_.fields.end() || !whole->extent.is_fixed()) {
        reader.problem_at("part_of", "\"" + reading.part_of + "\" is not a field before this one",
                          "must name a field of the same list whose size is fixed");
        return false;
    }
    if (!field.extent.is_fixed()) {
        reader.problem_at("octets", "is told by the packet", "must be a number in a part of a field");
        return false;
    }
    const std::uint32_t offset = reading.bit_offset.value_or(next_part_bit_[whole->name]);
    if (std::uint64_t{offset} + field_bits(field) > field_bits(*whole)) {
        reader.problem("ends at bit " + std::to_string(offset + field_bits(field)) + " of \"" + whole->name + "\"",
                       "must end by bit " + std::to_string(field_bits(*whole)));
        return false;
    }
    field.is_part = true;
    field.segment = whole->segment;
    field.bit_offset = whole->bit_offset + offset;
    next_part_bit_[whole->name] = offset + field_bits(field);
    check_alignment(reader, reading);
    return true;
}

bool LayoutReading::place(JsonReader& reader, FieldReading& reading) {
    Field& field = reading.field;
    if (!reading.part_of.empty()) return place_part(reader, reading);
    field.segment = static_cast<std::uint32_t>(layout_.segments.size() - 1);
    if (!field.extent.is_fixed()) next_bit_ = std::max(next_bit_, segment().bits);
    field.bit_offset = reading.bit_offset.value_or(next_bit_);
    if (reading.bit_offset && field.segment > 0) {
        reader.problem_at("bit_offset", "is on a field whose place the packet tells",
                          "remove it: the field comes after the one before it");
        return false;
    }
    if (!field.extent.is_fixed() && (reading.bit_offset || field.count > 1)) {
        reader.problem_at("octets", "is told by the packet, beside a \"bit_offset\" or a \"count\"",
                          "must be alone; use a group for several");
        return false;
    }
    const std::uint64_t end = std::uint64_t{field.bit_offset} + std::uint64_t{field.bit_width} * field.count;
    if (end > kBitsMax) {
        reader.problem("ends at bit " + std::to_string(end),
                       "must end by bit " + std::to_string(kBitsMax) + ", the most that a packet holds");
        return false;
    }
    check_alignment(reader, reading);
    next_bit_ = static_cast<std::uint32_t>(end);
    segment().bits = std::max(segment().bits, next_bit_);
    const std::string other = taken_.take(field.bit_offset, next_bit_, field.is_lsb_first, reader.pointer());
    if (!other.empty())
        reader.problem("uses bits " + std::to_string(field.bit_offset) + " to " + std::to_string(next_bit_ - 1) +
                           ", some of which belong to " + other,
                       R"(must not overlap; leave "bit_offset" out, move it, or name the other in "part_of")");
    return true;
}

void LayoutReading::check_alignment(JsonReader& reader, FieldReading& reading) {
    Field& field = reading.field;
    const bool on_byte = field.bit_offset % 8 == 0;
    const bool whole_bytes = field.bit_width % 8 == 0;
    if (needs_byte(field)) {
        if (!on_byte)
            reader.problem(std::string(field.is_text() ? "a text begins" : "a time begins") + " at bit " +
                               std::to_string(field.bit_offset),
                           "must begin on an octet boundary; give a \"bit_offset\" that is a multiple of 8");
        field.byte_order = ByteOrder::big;
        field.is_lsb_first = false;
    } else if (field.is_lsb_first) {
        field.byte_order = ByteOrder::little;
    } else if (field.bit_width <= 8 && !reading.byte_order) {
        field.byte_order = ByteOrder::big; // one byte or less has no byte order
    } else if (field.byte_order == ByteOrder::little && !(on_byte && whole_bytes)) {
        reader.problem(std::to_string(field.bit_width) + " bits at bit " + std::to_string(field.bit_offset) +
                           " cannot be little-endian",
                       R"(must be whole octets on an octet boundary, or have "byte_order": "big" or )"
                       R"("bit_order": "lsb_first")");
    }
}

void LayoutReading::check_roles(JsonReader& reader, const Field& field) {
    for (const Role role : field.roles) {
        const auto [it, is_new] = around_.role_places.emplace(role, RolePlace{reader.pointer(), around_.packet});
        const bool is_alternative =
            it->second.packet != around_.packet && it->second.packet->apid == around_.packet->apid;
        if (is_new || is_alternative) continue;
        const unsigned channels_max = role_channels_max(role);
        if (++it->second.channels > channels_max && role != Role::pyro_continuity)
            reader.problem_at(
                field.count > 1 ? "roles" : "role",
                "role " + std::string(kRoles[static_cast<std::size_t>(role)].name) + " appears " +
                    (channels_max == 1 ? "twice" : "three times"),
                std::string("must be on ") +
                    (channels_max == 1 ? "one channel only; the other" : "two channels at most; the first") +
                    " is at " + it->second.pointer);
    }
}

void LayoutReading::measure() {
    std::uint64_t least = 0;
    bool is_fixed = true;
    std::optional<std::uint64_t> after_end; // what comes after `to_end_`
    for (std::size_t i = 0; i < layout_.segments.size(); ++i) {
        const Segment& one = layout_.segments[i];
        std::uint64_t bits = one.bits;
        bool is_one_fixed = true;
        if (one.then == Segment::Then::group) {
            const Group& group = layout_.groups[one.index];
            const std::uint64_t each =
                group.is_padded ? to_bytes(group.layout.bits_min) : std::uint64_t{group.layout.bits_min};
            is_one_fixed = group.count.is_fixed() && group.when.empty() && group.layout.bits_fixed.has_value();
            if (group.count.is_fixed() && group.when.empty()) bits += group.count.number * each;
        } else if (one.then == Segment::Then::field) {
            is_one_fixed = false;
        }
        if (i + 1 < layout_.segments.size()) bits = to_bytes(bits);
        least += bits;
        is_fixed = is_fixed && is_one_fixed;
        if (to_end_ != nullptr && i > to_end_segment_) {
            if (is_one_fixed)
                after_end = after_end.value_or(0) + bits;
            else if (!to_end_reader_.empty()) {
                to_end_reader_.front().problem("reaches to the packet's end, but what follows has no fixed size",
                                               "must be told by a field, or be followed by fixed fields only");
                to_end_reader_.clear();
            }
        }
    }
    layout_.bits_min = static_cast<std::uint32_t>(std::min<std::uint64_t>(least, UINT32_MAX));
    if (is_fixed) layout_.bits_fixed = layout_.bits_min;
    if (to_end_ != nullptr) to_end_->bits_after = static_cast<std::uint32_t>(to_bytes(after_end.value_or(0)));
}

} // namespace

void read_layout(std::vector<JsonReader> readers, JsonReader* batch, const LayoutPlace& place, Scope& outer,
                 Surroundings& around, Layout& layout) {
    LayoutReading(place, outer, around, layout, 0).read(readers, batch);
}

} // namespace turnstone
