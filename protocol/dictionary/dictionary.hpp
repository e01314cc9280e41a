#pragma once
/// dictionary.json: one vehicle's packets and channels, the same file for firmware and ground.
/// What can be said and how, with examples: protocol/DICTIONARY.md. Schema: protocol/schema/dictionary.schema.json.
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "protocol/dictionary/channel_alert.hpp"
#include "protocol/dictionary/roles.hpp"
#include "protocol/packet/time_code.hpp"
#include "protocol/text/title.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

enum class FieldType : unsigned char { unsigned_integer, signed_integer, ieee754, mil_std_1750a, text, bytes, time };
/// How an integer's bits mean a number; `plain` is binary, or two's complement when it is signed.
enum class IntegerCoding : unsigned char { plain, sign_magnitude, ones_complement, offset_binary, bcd };
enum class ByteOrder : unsigned char { big, little };
enum class TextEncoding : unsigned char { utf_8, us_ascii, iso_8859_1, utf_16be, utf_16le };

/// engineering = offset + gain * raw
struct LinearCalibration {
    double gain;
    double offset;
};
/// engineering = c0 + c1 raw + c2 raw^2 + ...
struct PolynomialCalibration {
    std::vector<double> coefficients;
};
/// Piecewise linear through (raw, engineering), raw strictly ascending; the first and last segments are extended.
struct TableCalibration {
    std::vector<double> raw;
    std::vector<double> engineering;
};
using Calibration = std::variant<std::monostate, LinearCalibration, PolynomialCalibration, TableCalibration>;

/// Raw values from `least` to `greatest`, both included.
struct RawRange {
    std::int64_t least;
    std::int64_t greatest;
    [[nodiscard]] bool holds(std::int64_t raw) const noexcept { return least <= raw && raw <= greatest; }
    friend bool operator==(const RawRange&, const RawRange&) = default;
};

/// Something for each range of raw values, and for all others. Ranges ascend and do not overlap.
template <class Value>
struct Cases {
    std::vector<std::pair<RawRange, Value>> ranges;
    std::optional<Value> otherwise;

    [[nodiscard]] bool empty() const noexcept { return ranges.empty() && !otherwise; }
    /// Null: nothing is said of this value.
    [[nodiscard]] const Value* find(std::int64_t raw) const noexcept {
        std::size_t begin = 0;
        for (std::size_t end = ranges.size(); begin < end;) {
            const std::size_t middle = begin + (end - begin) / 2;
            if (ranges[middle].first.greatest < raw)
                begin = middle + 1;
            else
                end = middle;
        }
        if (begin < ranges.size() && ranges[begin].first.holds(raw)) return &ranges[begin].second;
        return otherwise ? &*otherwise : nullptr;
    }
};

/// An integer of a packet that decides about what follows it is kept under a number while the packet is decoded.
using Slot = std::int16_t;
inline constexpr Slot kNoSlot = -1;

/// How many of something.
struct Extent {
    enum class By : unsigned char {
        number,    ///< always `number`
        field,     ///< `times` x (the value in `slot`) + `plus`
        to_end,    ///< up to the fixed bits that follow, `bits_after`, at the packet's end
        terminator ///< up to and with the field's terminator
    };
    By by = By::number;
    std::uint32_t number = 1;
    Slot slot = kNoSlot;
    std::int32_t times = 1;
    std::int32_t plus = 0;
    std::uint32_t bits_after = 0;
    [[nodiscard]] bool is_fixed() const noexcept { return by == By::number; }
};

/// A field of a packet. A field with `count` > 1 is an array: `count` equal elements, one after another.
struct Field {
    std::string name;  ///< [a-z][a-z0-9_]*, unique in its table
    std::string title; ///< short name for people; as written, or made from the name
    FieldType type = FieldType::unsigned_integer;
    unsigned bit_width = 0; ///< of one element: 1..64; text, bytes and time 8 per byte, 0 when `extent` is not fixed
    std::uint32_t bit_offset = 0; ///< from the start of its segment, most significant bit first
    std::uint32_t segment = 0;    ///< of its layout
    ByteOrder byte_order = ByteOrder::big;
    /// Bits are counted, and gain in weight, from the least significant of each byte on.
    bool is_lsb_first = false;
    bool is_part = false; ///< its bits belong to another field as well
    IntegerCoding coding = IntegerCoding::plain;
    unsigned count = 1;
    Extent extent; ///< bytes of a text or of bytes
    TextEncoding encoding = TextEncoding::utf_8;
    std::vector<std::byte> terminator; ///< of a text or of bytes; empty: none
    TimeCode time;                     ///< of a time
    Calibration calibration;
    Cases<Calibration> calibrations; ///< by the value in `calibration_slot`, in place of `calibration`
    Slot calibration_slot = kNoSlot;
    std::map<std::int64_t, std::string> enumeration; ///< raw value to word, for viewers; empty: none
    Cases<std::string> words; ///< in place of `enumeration`: a text channel of its own holds the word
    Slot slot = kNoSlot;      ///< under which its raw value is kept for others
    std::string unit;         ///< UCUM; "1" when dimensionless
    std::string description;
    std::optional<std::pair<double, double>> valid_range; ///< engineering units, inclusive
    std::string group;                                    ///< display group
    int decimals = 2;
    std::vector<Role> roles;          ///< empty, or one for each of the `count` elements
    std::vector<ChannelAlert> alerts; ///< of each element

    [[nodiscard]] bool is_text() const noexcept { return type == FieldType::text || type == FieldType::bytes; }
};

struct Group;

/// Fields that the dictionary places, and what comes after them.
struct Segment {
    enum class Then : unsigned char { nothing, field, group };
    std::uint32_t bits = 0; ///< of the fields
    Then then = Then::nothing;
    std::size_t index = 0; ///< of Layout::fields or Layout::groups
};

/// Fields and groups one after another. A field whose size the packet tells, and any group, ends a segment; the next
/// begins at the next byte boundary after it.
struct Layout {
    std::vector<Field> fields;
    std::vector<Group> groups;
    std::vector<Segment> segments;
    std::uint32_t bits_min = 0;              ///< that it takes at least
    std::optional<std::uint32_t> bits_fixed; ///< that it always takes
};

/// A condition on an integer of the packet.
struct FieldCondition {
    Slot slot = kNoSlot;
    std::vector<RawRange> ranges; ///< it holds when the value is in one of them
};

/// A layout that comes several times, or under a condition: each time a row of a table of its own. The k-th row is of
/// packet time + first_offset_ms + k * period_ms.
struct Group {
    std::string name; ///< its table is "<packet>.<name>"
    std::string description;
    Layout layout;
    Extent count;
    std::vector<FieldCondition> when; ///< all of them must hold, else it is not there
    double period_ms = 0.0;
    double first_offset_ms = 0.0;
    bool is_padded = false; ///< each repetition to whole bytes
    std::size_t table = 0;  ///< of Dictionary::tables
};

/// An integer at a place that all packets of a layout have.
struct PlacedInteger {
    std::uint32_t bit = 0; ///< from the packet's first
    unsigned bit_width = 0;
    bool is_signed = false;
    IntegerCoding coding = IntegerCoding::plain;
    ByteOrder byte_order = ByteOrder::big;
    bool is_lsb_first = false;
    friend bool operator==(const PlacedInteger&, const PlacedInteger&) = default;
};

/// What makes a packet one of several with its APID.
struct PacketCondition {
    PlacedInteger at;
    std::vector<RawRange> ranges;
    friend bool operator==(const PacketCondition&, const PacketCondition&) = default;
};

/// The packet's own time.
struct PacketTime {
    TimeCode code;
    std::uint32_t byte; ///< of the packet
    std::size_t clock;  ///< of Dictionary::clocks
};

struct Packet {
    std::uint16_t apid; ///< 0..2046
    std::string name;
    std::string description;
    double period_ms; ///< expected; 0: sent now and then
    std::vector<PacketCondition> when;
    std::vector<std::pair<PlacedInteger, Slot>> header_slots; ///< of the primary header
    std::optional<PacketTime> time;
    std::uint32_t header_bytes = 0; ///< of the secondary header; 0: none
    Layout header;                  ///< of the secondary header; no fields when it is a time and nothing else
    Layout body;                    ///< of the user data
    std::uint32_t bytes_min = 0;    ///< of the whole packet, primary header included
    std::uint32_t bytes_max = 0;
    bool may_have_more = false; ///< bytes after the last field are allowed
    std::size_t table = 0;      ///< of Dictionary::tables, when it has fields

    /// Of a packet whose layout has one size; padding included.
    [[nodiscard]] std::uint32_t user_data_bytes() const noexcept { return (body.bits_fixed.value_or(0) + 7) / 8; }
    [[nodiscard]] bool has_fields() const noexcept { return !header.fields.empty() || !body.fields.empty(); }
};

/// One engineering-unit channel: a field element, or the word that a field's raw value means.
struct Channel {
    std::string name;     ///< field name, or "<field>_<k>" for array elements; "<field>_word"
    std::string title;    ///< field title, or "<title> <k>" for array elements
    const Field* field;   ///< in Dictionary::packets; stable for the dictionary's life
    unsigned element = 0; ///< place in an array
    bool is_word = false;
    std::optional<Role> role{};
    StripLine strip{};     ///< with which others of its table it is drawn
    std::size_t place = 0; ///< in a row: numbers come first, then texts, both in the order of the fields
    [[nodiscard]] bool is_text() const noexcept { return is_word || field->is_text(); }
};

/// Rows that decoding produces: one table per packet with fields, one per group.
struct ChannelTable {
    std::string name;              ///< "<packet>" or "<packet>.<group>"
    std::size_t packet;            ///< index into Dictionary::packets
    const Group* group;            ///< null: the packet's own fields
    std::vector<Channel> channels; ///< in the order of the fields
    std::size_t number_count;      ///< channels that are numbers
    std::size_t text_count;        ///< channels that are text
};

/// Move-only: channels point into `packets`.
struct Dictionary {
    std::string vehicle; ///< identifier, [a-z][a-z0-9_-]*
    std::string title;
    std::string version;
    std::vector<Packet> packets;
    std::vector<ChannelTable> tables;
    std::vector<TimeCode> clocks;       ///< each code of the packets' times once
    std::uint32_t packet_bytes_max = 0; ///< of the largest packet

    Dictionary() = default;
    Dictionary(Dictionary&&) = default;
    Dictionary& operator=(Dictionary&&) = default;
};

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Dictionary read_dictionary(const nlohmann::json& json, const std::string& file,
                                         std::vector<Problem>& problems);

} // namespace turnstone
