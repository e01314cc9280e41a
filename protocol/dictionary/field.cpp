#include "protocol/dictionary/field.hpp"

#include <algorithm>
#include <array>
#include <charconv>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/calibration.hpp"
#include "protocol/dictionary/names.hpp"
#include "protocol/dictionary/time_reading.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/text/title.hpp"
#include "protocol/text/ucum.hpp"

namespace turnstone {
namespace {

constexpr std::int64_t kElementsMax = 1000;
constexpr double kFieldValueMax = 1e300;
constexpr auto kFieldBytesMax = static_cast<std::int64_t>(kPacketBytesMax);
constexpr std::size_t kTerminatorBytesMax = 4;

struct TypeName {
    FieldType type;
    unsigned bit_width; ///< 0: told by other members
};

std::optional<TypeName> parse_type(std::string_view name) {
    if (name == "text") return TypeName{FieldType::text, 0};
    if (name == "octets") return TypeName{FieldType::bytes, 0};
    if (name == "time") return TypeName{FieldType::time, 0};
    if (name == "f16" || name == "f32" || name == "f64")
        return TypeName{FieldType::ieee754, name == "f16" ? 16U : name == "f32" ? 32U : 64U};
    if (name == "f32_1750a" || name == "f48_1750a")
        return TypeName{FieldType::mil_std_1750a, name == "f32_1750a" ? 32U : 48U};
    if (name.size() < 2 || name.size() > 3 || (name[0] != 'u' && name[0] != 'i') || name[1] == '0') return std::nullopt;
    unsigned width = 0;
    const auto [end, error] = std::from_chars(name.data() + 1, name.data() + name.size(), width);
    const unsigned least = name[0] == 'u' ? 1 : 2;
    if (error != std::errc{} || end != name.data() + name.size() || width < least || width > 64) return std::nullopt;
    return TypeName{name[0] == 'u' ? FieldType::unsigned_integer : FieldType::signed_integer, width};
}

void read_coding(JsonReader& reader, Field& field) {
    if (!reader.has("coding")) return;
    const auto allowed =
        field.type == FieldType::signed_integer
            ? std::vector<std::string_view>{"twos_complement", "sign_magnitude", "ones_complement", "offset_binary"}
            : std::vector<std::string_view>{"binary", "bcd"};
    if (!is_integer(field.type)) {
        reader.problem_at("coding", "is on a field that is not an integer", "remove it");
        return;
    }
    const std::size_t choice = reader.choice("coding", allowed);
    if (field.type == FieldType::signed_integer)
        field.coding = static_cast<IntegerCoding>(choice);
    else if (choice == 1)
        field.coding = IntegerCoding::bcd;
    if (field.coding == IntegerCoding::bcd && field.bit_width % 4 != 0)
        reader.problem_at("coding", "is bcd on " + std::to_string(field.bit_width) + " bits",
                          "must have four bits for each decimal digit");
}

/// "0D0A": pairs of hexadecimal digits.
std::vector<std::byte> read_terminator(JsonReader& reader) {
    const std::string text = reader.text("terminator");
    std::vector<std::byte> bytes;
    if (text == "none") return bytes;
    for (std::size_t i = 0; i + 1 < text.size(); i += 2) {
        unsigned value = 0;
        const char* const begin = text.data() + i;
        const auto [end, error] = std::from_chars(begin, begin + 2, value, 16);
        if (error != std::errc{} || end != begin + 2) break;
        bytes.push_back(static_cast<std::byte>(value));
    }
    if (!text.empty() && (2 * bytes.size() != text.size() || bytes.size() > kTerminatorBytesMax))
        reader.problem_at("terminator", "\"" + text.substr(0, 32) + "\" is not a terminator",
                          R"(must be 1 to 4 octets in hexadecimal, such as "00" or "0D0A", or "none")");
    return bytes;
}

void read_text(JsonReader& reader, Field& field, Scope& scope) {
    field.extent = read_extent(reader, "octets", 1, kFieldBytesMax, scope, true);
    field.bit_width = field.extent.is_fixed() ? 8 * field.extent.number : 0;
    if (field.type == FieldType::text && reader.has("encoding"))
        field.encoding = static_cast<TextEncoding>(
            reader.choice("encoding", {"UTF-8", "US-ASCII", "ISO-8859-1", "UTF-16BE", "UTF-16LE"}));
    const bool is_wide = field.encoding == TextEncoding::utf_16be || field.encoding == TextEncoding::utf_16le;
    if (reader.has("terminator"))
        field.terminator = read_terminator(reader);
    else if (field.type == FieldType::text)
        field.terminator.assign(is_wide ? 2 : 1, std::byte{0});
    if (field.extent.by == Extent::By::terminator && field.terminator.empty())
        reader.problem_at("octets", "ends with a terminator that the field has not", R"(must have a "terminator")");
    if (is_wide && field.terminator.size() % 2 != 0)
        reader.problem_at("terminator", "is not a whole number of UTF-16 units", "must have 2 or 4 octets");
}

void read_time(JsonReader& reader, Field& field, bool& is_packet_time) {
    if (auto code = reader.object("code")) field.time = read_time_code(*code);
    field.bit_width = 8 * field.time.bytes();
    is_packet_time = reader.boolean_or("is_packet_time", false);
}

std::string role_names() {
    std::string names;
    for (const RoleInfo& info : kRoles) names += (names.empty() ? "" : ", ") + std::string(info.name);
    return names;
}

void check_role(JsonReader& reader, std::string_view key, const Field& field, std::string_view name,
                std::vector<Role>& roles) {
    const auto role = role_from_name(name);
    if (!role) {
        reader.problem_at(key, "\"" + std::string(name) + "\" is not a role", "must be one of: " + role_names());
        return;
    }
    roles.push_back(*role);
    const std::string_view unit = kRoles[static_cast<std::size_t>(*role)].unit;
    if (field.is_text() != unit.empty())
        reader.problem_at(key, unit.empty() ? "is on a number" : "is on a text",
                          unit.empty() ? "remove it; this role needs a text" : "remove it; a role needs a number");
    else if (!unit.empty() && field.unit != unit)
        reader.problem_at("unit", "is \"" + field.unit + "\", but the role " + std::string(name) + " has another unit",
                          "must be \"" + std::string(unit) + "\"; change the calibration so that it gives that");
}

void read_roles(JsonReader& reader, Field& field) {
    if (reader.has("role") && field.count > 1) {
        reader.problem_at("role", "is on an array", "use \"roles\": [...], one for each element");
        reader.ignore("role");
    } else if (reader.has("role")) {
        const std::string name = reader.text("role");
        if (!name.empty()) check_role(reader, "role", field, name, field.roles);
    }
    if (!reader.has("roles")) return;
    if (reader.has("role")) reader.problem_at("roles", "appears beside \"role\"", "keep one of the two");
    std::vector<Role> roles;
    for (JsonReader& element : reader.array("roles", field.count, field.count)) {
        const std::string name = element.as_text();
        if (!name.empty()) check_role(reader, "roles", field, name, roles);
    }
    if (roles.size() == field.count) // a row of roles with holes would put the rest on wrong elements
        field.roles = std::move(roles);
}

void read_unit(JsonReader& reader, Field& field) {
    field.unit = reader.text_or("unit", field.type == FieldType::time ? "s" : "1");
    if (!is_ucum_unit(field.unit))
        reader.problem_at(
            "unit", "\"" + field.unit + "\" is not a UCUM code",
            R"(must be a UCUM code such as "m/s2", "Pa", "deg", "Cel", "{rev}/min", or "1" without dimension)");
    if (field.unit != "1" && (field.is_text() || !field.enumeration.empty()))
        reader.problem_at("unit", "is given for text or words", "remove it, or make it \"1\"");
}

void read_valid_range(JsonReader& reader, Field& field) {
    if (!reader.has("valid_range")) return;
    auto bounds = reader.array("valid_range", 2, 2);
    if (bounds.size() != 2) return;
    const double least = bounds[0].as_number(-kFieldValueMax, kFieldValueMax);
    const double greatest = bounds[1].as_number(-kFieldValueMax, kFieldValueMax);
    if (least >= greatest && bounds[0].json().is_number() && bounds[1].json().is_number())
        reader.problem_at("valid_range", "ends before it begins", "must be [least, greatest] in engineering units");
    if (field.is_text()) reader.problem_at("valid_range", "is on a text", "remove it");
    field.valid_range = {least, greatest};
}

} // namespace

std::optional<ByteOrder> read_byte_order(JsonReader& reader) {
    if (!reader.has("byte_order")) {
        reader.ignore("byte_order");
        return std::nullopt;
    }
    return reader.choice("byte_order", {"big", "little"}) == 0 ? ByteOrder::big : ByteOrder::little;
}

bool read_bit_order(JsonReader& reader, bool otherwise) {
    return reader.choice_or("bit_order", {"msb_first", "lsb_first"}, otherwise ? 1 : 0) == 1;
}

FieldReading read_field(JsonReader& reader, const FieldDefaults& defaults, Scope& scope,
                        std::vector<Problem>& problems) {
    FieldReading reading;
    Field& field = reading.field;
    field.name = read_name(reader, "name");

    const std::size_t problems_before_size = problems.size();
    const std::string type_text = reader.text("type");
    const auto type = parse_type(type_text);
    if (!type && !type_text.empty())
        reader.problem_at("type", "\"" + type_text + "\" is not a type",
                          "must be u1 to u64, i2 to i64, f16, f32, f64, f32_1750a, f48_1750a, text, octets or time");
    field.type = type ? type->type : FieldType::unsigned_integer;
    field.bit_width = type ? type->bit_width : 0;
    if (field.is_text()) read_text(reader, field, scope);
    if (field.type == FieldType::time) read_time(reader, field, reading.is_packet_time);
    if (reader.has("count")) {
        reading.count = read_extent(reader, "count", 1, kElementsMax, scope, false);
        field.count = reading.count.is_fixed() ? reading.count.number : 1;
    }
    if (reader.has("bit_offset"))
        reading.bit_offset = static_cast<std::uint32_t>(reader.integer("bit_offset", 0, 8 * kFieldBytesMax));
    reading.part_of = reader.text_or("part_of", "");
    reading.byte_order = read_byte_order(reader);
    field.byte_order = reading.byte_order.value_or(defaults.byte_order);
    field.is_lsb_first = read_bit_order(reader, defaults.is_lsb_first);
    if (field.is_lsb_first && reading.byte_order == ByteOrder::big)
        reader.problem_at("byte_order", "is big beside a bit order of least significant first",
                          "remove one of the two");
    reading.is_sized = problems.size() == problems_before_size;

    if (type) { // what follows depends on the type; one report is enough
        read_coding(reader, field);
        read_meaning(reader, field, scope);
    }
    read_unit(reader, field);
    field.title = reader.has("title") ? reader.text("title") : title_from_name(field.name, field.unit);
    if (type) read_roles(reader, field);
    read_valid_range(reader, field);
    if (type) field.alerts = read_alerts(reader, field);
    field.description = reader.text_or("description", "");
    field.group = reader.text_or("group", defaults.group);
    field.decimals = static_cast<int>(reader.integer_or("decimals", 0, 12, 2));
    for (const std::string_view key : {"title", "count", "bit_offset", "coding", "enumeration", "calibration", "role",
                                       "roles", "valid_range", "alerts"})
        reader.ignore(key);
    if (!type)
        for (const std::string_view key : {"octets", "encoding", "terminator", "code", "is_packet_time"})
            reader.ignore(key);
    reader.finish();
    return reading;
}

} // namespace turnstone
