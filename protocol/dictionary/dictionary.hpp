#pragma once
/// dictionary.json: one vehicle's packets and channels, the same file for firmware and ground.
/// Schema: protocol/schema/dictionary.schema.json. Byte layout: protocol/LINK.md, section "User data".
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "protocol/dictionary/roles.hpp"
#include "protocol/dictionary/title.hpp"
#include "protocol/packet/time_code.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

enum class FieldType : unsigned char { unsigned_integer, signed_integer, ieee754, text };
enum class ByteOrder : unsigned char { big, little };

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

/// A field of a packet. A field with `count` > 1 is an array: `count` equal elements, one after another.
struct Field {
    std::string name;  ///< [a-z][a-z0-9_]*, unique in its packet
    std::string title; ///< short name for people; as written, or made from the name
    FieldType type;
    unsigned bit_width; ///< of one element: integers 1..64, IEEE 754 16/32/64, text 8 per byte
    std::uint32_t
        bit_offset;       ///< from the start of the user data (batch fields: of one sample), most significant bit first
    ByteOrder byte_order; ///< little only for whole bytes on a byte boundary
    unsigned count = 1;
    Calibration calibration;
    std::map<std::int64_t, std::string> enumeration; ///< raw value to word; empty: none
    std::string unit;                                ///< UCUM; "1" when dimensionless
    std::string description;
    std::optional<std::pair<double, double>> valid_range; ///< engineering units, inclusive
    std::string group;                                    ///< display group
    int decimals = 2;
    std::vector<Role> roles; ///< empty, or one for each of the `count` elements
};

/// `count` equal samples at the end of the user data, `sample_bits` each, the k-th taken at
/// packet time + first_offset_ms + k * period_ms.
struct SampleBatch {
    std::string name; ///< its table is "<packet>.<name>"
    unsigned count;
    double period_ms;
    double first_offset_ms;
    std::uint32_t bit_offset;  ///< of the first sample, on a byte boundary
    std::uint32_t sample_bits; ///< a whole number of bytes
    std::vector<Field> fields;
};

struct Packet {
    std::uint16_t apid; ///< 0..2046
    std::string name;
    std::string description;
    double period_ms; ///< expected; 0: sent now and then
    std::vector<Field> fields;
    std::optional<SampleBatch> batch;
    std::uint32_t user_data_bytes; ///< after the secondary header, padding included
};

/// One engineering-unit channel: a field element.
struct Channel {
    std::string name;     ///< field name, or "<field>_<k>" for array elements
    std::string title;    ///< field title, or "<title> <k>" for array elements
    const Field* field;   ///< in Dictionary::packets; stable for the dictionary's life
    unsigned element = 0; ///< place in an array
    std::optional<Role> role{};
    StripLine strip{};     ///< with which others of its table it is drawn
    std::size_t place = 0; ///< in a row: numbers come first, then texts, both in the order of the fields
    [[nodiscard]] bool is_text() const noexcept { return field->type == FieldType::text; }
};

/// Rows that decoding produces: one table per packet with fields, one per batch.
struct ChannelTable {
    std::string name;   ///< "<packet>" or "<packet>.<batch>"
    std::size_t packet; ///< index into Dictionary::packets
    bool is_batch;
    std::vector<Channel> channels; ///< in the order of the fields
    std::size_t number_count;      ///< channels that are numbers
    std::size_t text_count;        ///< channels that are text
};

/// Move-only: channels point into `packets`.
struct Dictionary {
    std::string vehicle; ///< identifier, [a-z][a-z0-9_-]*
    std::string title;
    std::string version;
    TimeCode time;
    std::vector<Packet> packets;
    std::vector<ChannelTable> tables;

    Dictionary() = default;
    Dictionary(Dictionary&&) = default;
    Dictionary& operator=(Dictionary&&) = default;
};

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Dictionary read_dictionary(const nlohmann::json& json, const std::string& file,
                                         std::vector<Problem>& problems);

} // namespace turnstone
