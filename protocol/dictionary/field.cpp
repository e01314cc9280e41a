#include "protocol/dictionary/field.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <limits>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/title.hpp"
#include "protocol/dictionary/ucum.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kNameSizeMax = 48;
constexpr std::int64_t kElementsMax = 1000;
constexpr std::size_t kEnumerationSizeMax = 1024;
constexpr std::size_t kCoefficientsMax = 10;
constexpr std::size_t kTablePointsMax = 256;
constexpr double kNumberMax = 1e300;

/// Words that cannot be a member name in firmware (C99 to C23, C++20, and macros compilers define without asking), and
/// the columns every table of a recording has.
constexpr auto kReservedNames = std::to_array<std::string_view>({"alignas",       "alignof",
                                                                 "and",           "and_eq",
                                                                 "asm",           "atomic",
                                                                 "auto",          "bitand",
                                                                 "bitor",         "bool",
                                                                 "break",         "case",
                                                                 "catch",         "char",
                                                                 "char16_t",      "char32_t",
                                                                 "char8_t",       "class",
                                                                 "co_await",      "co_return",
                                                                 "co_yield",      "compl",
                                                                 "complex",       "concept",
                                                                 "const",         "const_cast",
                                                                 "consteval",     "constexpr",
                                                                 "constinit",     "continue",
                                                                 "decltype",      "default",
                                                                 "delete",        "do",
                                                                 "double",        "dynamic_cast",
                                                                 "else",          "enum",
                                                                 "errno",         "explicit",
                                                                 "export",        "extern",
                                                                 "false",         "far",
                                                                 "float",         "for",
                                                                 "frame",         "friend",
                                                                 "goto",          "huge",
                                                                 "i386",          "if",
                                                                 "imaginary",     "inline",
                                                                 "int",           "int16_t",
                                                                 "int32_t",       "int64_t",
                                                                 "int8_t",        "interrupt",
                                                                 "linux",         "long",
                                                                 "mutable",       "namespace",
                                                                 "near",          "new",
                                                                 "noexcept",      "noreturn",
                                                                 "not",           "not_eq",
                                                                 "null",          "nullptr",
                                                                 "operator",      "or",
                                                                 "or_eq",         "private",
                                                                 "protected",     "public",
                                                                 "register",      "reinterpret_cast",
                                                                 "requires",      "restrict",
                                                                 "return",        "rowid",
                                                                 "short",         "signed",
                                                                 "size_t",        "sizeof",
                                                                 "static",        "static_assert",
                                                                 "static_cast",   "stderr",
                                                                 "stdin",         "stdout",
                                                                 "struct",        "switch",
                                                                 "t_ns",          "t_rx_ns",
                                                                 "template",      "this",
                                                                 "thread_local",  "throw",
                                                                 "true",          "try",
                                                                 "typedef",       "typeid",
                                                                 "typename",      "typeof",
                                                                 "typeof_unqual", "uint16_t",
                                                                 "uint32_t",      "uint64_t",
                                                                 "uint8_t",       "union",
                                                                 "unix",          "unsigned",
                                                                 "using",         "virtual",
                                                                 "void",          "volatile",
                                                                 "wchar_t",       "while",
                                                                 "xor",           "xor_eq",
                                                                 "arm",           "avr",
                                                                 "mips",          "sparc"});

bool is_name(std::string_view name, bool hyphen) {
    const auto is_letter = [](char c) { return c >= 'a' && c <= 'z'; };
    return !name.empty() && is_letter(name.front()) && std::all_of(name.begin(), name.end(), [&](char c) {
        return is_letter(c) || (c >= '0' && c <= '9') || c == '_' || (hyphen && c == '-');
    });
}

struct TypeName {
    FieldType type;
    unsigned bit_width; ///< 0: text, whose width is in "octets"
};

std::optional<TypeName> parse_type(std::string_view name) {
    if (name == "text") return TypeName{FieldType::text, 0};
    if (name == "f16" || name == "f32" || name == "f64")
        return TypeName{FieldType::ieee754, name == "f16" ? 16U : name == "f32" ? 32U : 64U};
    if (name.size() < 2 || name.size() > 3 || (name[0] != 'u' && name[0] != 'i') || name[1] == '0') return std::nullopt;
    unsigned width = 0;
    const auto [end, error] = std::from_chars(name.data() + 1, name.data() + name.size(), width);
    const unsigned least = name[0] == 'u' ? 1 : 2;
    if (error != std::errc{} || end != name.data() + name.size() || width < least || width > 64) return std::nullopt;
    return TypeName{name[0] == 'u' ? FieldType::unsigned_integer : FieldType::signed_integer, width};
}

bool is_integer(FieldType type) {
    return type == FieldType::unsigned_integer || type == FieldType::signed_integer;
}

bool raw_fits(const Field& field, std::int64_t raw) {
    if (field.type == FieldType::unsigned_integer)
        return raw >= 0 && (field.bit_width >= 63 || raw < (std::int64_t{1} << field.bit_width));
    if (field.bit_width >= 64) return true;
    const std::int64_t limit = std::int64_t{1} << (field.bit_width - 1);
    return raw >= -limit && raw < limit;
}

void read_enumeration(JsonReader& reader, Field& field) {
    auto enumeration = reader.object_if("enumeration");
    if (!enumeration) return;
    if (!is_integer(field.type)) {
        reader.problem_at("enumeration", "is on a field that is not an integer", "remove it, or use an integer type");
        return;
    }
    auto members = enumeration->members();
    if (members.empty() || members.size() > kEnumerationSizeMax)
        reader.problem_at("enumeration", "has " + std::to_string(members.size()) + " members",
                          "must have 1 to " + std::to_string(kEnumerationSizeMax));
    for (auto& [key, word] : members) {
        std::int64_t raw = 0;
        const auto [end, error] = std::from_chars(key.data(), key.data() + key.size(), raw);
        if (error != std::errc{} || end != key.data() + key.size() || std::to_string(raw) != key)
            word.problem("the member's name is not a raw value", "must be a whole number in decimal, such as \"3\"");
        else if (!raw_fits(field, raw))
            word.problem("the raw value " + key + " does not fit " + std::to_string(field.bit_width) + " bits",
                         "must fit the field's type");
        field.enumeration.emplace(raw, word.as_text());
    }
}

Calibration read_linear(JsonReader& linear) {
    LinearCalibration result{linear.number("gain", -kNumberMax, kNumberMax),
                             linear.number("offset", -kNumberMax, kNumberMax)};
    if (result.gain == 0.0)
        linear.problem_at("gain", "is zero", "must not be zero: every raw value would mean the same");
    linear.finish();
    return result;
}

Calibration read_polynomial(JsonReader& calibration) {
    PolynomialCalibration result;
    for (JsonReader& coefficient : calibration.array("polynomial", 2, kCoefficientsMax))
        result.coefficients.push_back(coefficient.as_number(-kNumberMax, kNumberMax));
    return result;
}

Calibration read_table(JsonReader& calibration) {
    TableCalibration result;
    for (JsonReader& point : calibration.array("table", 2, kTablePointsMax)) {
        const std::vector<double> row = point.as_row(2);
        if (!point.is_array() || point.json().size() != 2) // reported already
            continue;
        if (!result.raw.empty() && row[0] <= result.raw.back())
            point.problem("the raw value is not above the one before it", "must be in ascending order of raw value");
        result.raw.push_back(row[0]);
        result.engineering.push_back(row[1]);
    }
    return result;
}

void read_calibration(JsonReader& reader, Field& field) {
    auto calibration = reader.object_if("calibration");
    if (!calibration) return;
    if (field.type == FieldType::text || !field.enumeration.empty()) {
        reader.problem_at("calibration", "is on a field of text or beside an enumeration", "remove it");
        return;
    }
    const bool linear = calibration->has("linear");
    const bool polynomial = calibration->has("polynomial");
    const bool table = calibration->has("table");
    if (linear + polynomial + table != 1) {
        calibration->problem("has " + std::to_string(linear + polynomial + table) + " of its three forms",
                             R"(must be one of {"linear": ...}, {"polynomial": ...} and {"table": ...})");
    }
    if (linear) {
        if (auto inner = calibration->object("linear")) field.calibration = read_linear(*inner);
    } else if (polynomial) {
        field.calibration = read_polynomial(*calibration);
    } else if (table) {
        field.calibration = read_table(*calibration);
    }
    calibration->ignore("linear");
    calibration->ignore("polynomial");
    calibration->ignore("table");
    calibration->finish();
}

void check_role(JsonReader& reader, std::string_view key, const Field& field, std::string_view name,
                std::vector<Role>& roles) {
    const auto role = role_from_name(name);
    if (!role) {
        reader.problem_at(key, "\"" + std::string(name) + "\" is not a role",
                          "must be one of the roles in dictionary.schema.json");
        return;
    }
    roles.push_back(*role);
    const std::string_view unit = kRoles[static_cast<std::size_t>(*role)].unit;
    if ((field.type == FieldType::text) != unit.empty())
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
    field.unit = reader.text_or("unit", "1");
    if (!is_ucum_unit(field.unit))
        reader.problem_at(
            "unit", "\"" + field.unit + "\" is not a UCUM code",
            R"(must be a UCUM code such as "m/s2", "Pa", "deg", "Cel", "{rev}/min", or "1" without dimension)");
    if (field.unit != "1" && (field.type == FieldType::text || !field.enumeration.empty()))
        reader.problem_at("unit", "is given for text or words", "remove it, or make it \"1\"");
}

void read_valid_range(JsonReader& reader, Field& field) {
    if (!reader.has("valid_range")) return;
    auto bounds = reader.array("valid_range", 2, 2);
    if (bounds.size() != 2) return;
    const double least = bounds[0].as_number(-kNumberMax, kNumberMax);
    const double greatest = bounds[1].as_number(-kNumberMax, kNumberMax);
    if (least >= greatest && bounds[0].json().is_number() && bounds[1].json().is_number())
        reader.problem_at("valid_range", "ends before it begins", "must be [least, greatest] in engineering units");
    if (field.type == FieldType::text) reader.problem_at("valid_range", "is on a text", "remove it");
    field.valid_range = {least, greatest};
}

} // namespace

std::string read_name(JsonReader& reader, std::string_view key, bool hyphen) {
    const bool given = reader.has(key) && reader.json().find(std::string(key))->is_string();
    std::string name = reader.text(key);
    if (!given || name.empty()) return name;
    if (!is_name(name, hyphen) || name.size() > kNameSizeMax)
        reader.problem_at(key, "\"" + name.substr(0, 2 * kNameSizeMax) + "\" is not a name",
                          std::string("must begin with a-z and contain only a-z, 0-9, _") + (hyphen ? ", -" : "") +
                              ", at most " + std::to_string(kNameSizeMax) + " characters");
    else if (std::find(kReservedNames.begin(), kReservedNames.end(), name) != kReservedNames.end())
        reader.problem_at(key, "\"" + name + "\" is reserved in C, in C++ or in recordings",
                          "choose another, such as \"" + name + "_value\"");
    return name;
}

std::optional<ByteOrder> read_byte_order(JsonReader& reader) {
    if (!reader.has("byte_order")) {
        reader.ignore("byte_order");
        return std::nullopt;
    }
    return reader.choice("byte_order", {"big", "little"}) == 0 ? ByteOrder::big : ByteOrder::little;
}

FieldReading read_field(JsonReader& reader, const FieldDefaults& defaults, std::vector<Problem>& problems) {
    FieldReading reading;
    Field& field = reading.field;
    field.name = read_name(reader, "name");

    const std::size_t problems_before_size = problems.size();
    const std::string type_text = reader.text("type");
    const auto type = parse_type(type_text);
    if (!type && !type_text.empty())
        reader.problem_at("type", "\"" + type_text + "\" is not a type",
                          "must be u1 to u64, i2 to i64, f16, f32, f64 or text");
    field.type = type ? type->type : FieldType::unsigned_integer;
    field.bit_width = type ? type->bit_width : 0;
    if (field.type == FieldType::text) field.bit_width = 8 * static_cast<unsigned>(reader.integer("octets", 1, 1000));
    field.count = static_cast<unsigned>(reader.integer_or("count", 1, kElementsMax, 1));
    if (reader.has("bit_offset"))
        reading.bit_offset = static_cast<std::uint32_t>(reader.integer("bit_offset", 0, 8000));
    reader.ignore("bit_offset");
    reading.byte_order = read_byte_order(reader);
    field.byte_order = reading.byte_order.value_or(defaults.byte_order);
    reading.sized = problems.size() == problems_before_size;

    if (!type) { // what follows depends on the type; one report is enough
        for (const std::string_view key : {"octets", "enumeration", "calibration", "role", "roles"}) reader.ignore(key);
    } else {
        read_enumeration(reader, field);
        read_calibration(reader, field);
    }
    read_unit(reader, field);
    field.title = reader.has("title") ? reader.text("title") : title_from_name(field.name, field.unit);
    if (type) read_roles(reader, field);
    read_valid_range(reader, field);
    field.description = reader.text_or("description", "");
    field.group = reader.text_or("group", defaults.group);
    field.decimals = static_cast<int>(reader.integer_or("decimals", 0, 12, 2));
    for (const std::string_view key : {"title", "enumeration", "calibration", "role", "roles", "valid_range"})
        reader.ignore(key);
    reader.finish();
    return reading;
}

} // namespace turnstone
