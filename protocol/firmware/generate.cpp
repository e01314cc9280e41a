#include "protocol/firmware/generate.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <set>

#include "protocol/firmware/parts.hpp"
#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {
namespace firmware {

std::string upper(std::string_view name) {
    std::string out;
    for (const char c : name)
        if (c >= 'a' && c <= 'z')
            out += static_cast<char>(c - 'a' + 'A');
        else
            out += (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ? c : '_';
    return out;
}

} // namespace firmware

namespace {

using firmware::upper;

constexpr unsigned kHelperWidthMax = 53; ///< a double holds every raw value up to here

std::string prefix_of(const Dictionary& dictionary) {
    std::string prefix = dictionary.vehicle + "_";
    std::replace(prefix.begin(), prefix.end(), '-', '_');
    return prefix;
}

/// Text that is safe inside a block comment, whatever the warnings.
std::string comment(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const char last = out.empty() ? ' ' : out.back();
        if ((last == '*' && c == '/') || (last == '/' && c == '*') || (last == '?' && c == '?')) out += ' ';
        out += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
    }
    return out;
}

/// A C string literal, with octal escapes for everything that could be read in two ways.
std::string literal(std::string_view text) {
    std::string out = "\"";
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x20 || byte >= 0x7F || c == '"' || c == '\\' || c == '?') {
            out += '\\';
            for (const int shift : {6, 3, 0}) out += static_cast<char>('0' + ((byte >> shift) & 7));
        } else {
            out += c;
        }
    }
    return out + "\"";
}

/// The shortest decimal that reads back the same, always written as a double constant.
std::string real(double value) {
    std::array<char, 32> digits{};
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value).ptr;
    std::string text(digits.data(), end);
    if (text.find_first_of(".e") == std::string::npos) text += ".0";
    return text;
}

std::string raw_constant(std::int64_t value) {
    const bool fits_int = value > -32768 && value <= 32767; // int has 16 bits on small processors
    if (fits_int) return value < 0 ? "(" + std::to_string(value) + ")" : std::to_string(value);
    if (value == INT64_MIN) return "INT64_MIN";
    return value < 0 ? "(-INT64_C(" + std::to_string(-value) + "))" : "INT64_C(" + std::to_string(value) + ")";
}

std::string c_type(const Field& field) {
    if (field.type == FieldType::text) return "char";
    if (field.type == FieldType::bytes) return "uint8_t";
    if (field.type == FieldType::ieee754) return field.bit_width == 64 ? "double" : "float";
    const unsigned width = field.bit_width <= 8 ? 8 : field.bit_width <= 16 ? 16 : field.bit_width <= 32 ? 32 : 64;
    return std::string(field.type == FieldType::unsigned_integer ? "uint" : "int") + std::to_string(width) + "_t";
}

bool is_integer(const Field& field) {
    return field.type == FieldType::unsigned_integer || field.type == FieldType::signed_integer;
}

std::string meaning(const Field& field) {
    std::string text = field.description;
    if (field.type == FieldType::text) return text + " (up to " + std::to_string(field.bit_width / 8) + " bytes)";
    if (const auto* linear = std::get_if<LinearCalibration>(&field.calibration))
        text += " (" + field.unit + " = " + real(linear->offset) + " + " + real(linear->gain) + " * raw)";
    else if (std::holds_alternative<PolynomialCalibration>(field.calibration) ||
             std::holds_alternative<TableCalibration>(field.calibration))
        text += " (raw value; the dictionary's curve gives " + field.unit + ")";
    else if (field.unit != "1")
        text += " (" + field.unit + ")";
    if (is_integer(field) && field.bit_width % 8 != 0) text += ", " + std::to_string(field.bit_width) + " bits";
    return text;
}

bool is_encodable(const Field& field) {
    return field.type != FieldType::mil_std_1750a && field.type != FieldType::time &&
           field.coding == IntegerCoding::plain && !field.is_lsb_first;
}

/// What an encoder cannot do, in the middle of a sentence; empty: nothing.
std::string obstacle_of(const Packet& packet) {
    const Layout& body = packet.body;
    const bool has_batch = body.groups.size() == 1 && body.groups[0].is_padded && body.segments.size() == 2;
    if (!body.bits_fixed || (!body.groups.empty() && !has_batch))
        return "has a size or a group that the packet itself tells; firmware can encode fixed fields and one batch";
    if (!packet.header.fields.empty())
        return "has a secondary header with fields; firmware can encode one that is a time and nothing else";
    if (packet.time) {
        const TimeCode& time = packet.time->code;
        const bool is_short_cuc = time.kind == TimeCode::Kind::cuc && time.p_field_bytes == 0 &&
                                  time.coarse_bytes <= 4 && time.fine_bytes <= 4;
        if (packet.header_bytes == 0 || !(is_short_cuc || time == TimeCode{}))
            return "has a time that firmware cannot encode; it can encode u32_ms, and cuc of 4 + 4 octets at most "
                   "without P-field, in the secondary header";
    }
    if (std::ranges::any_of(packet.when, [](const PacketCondition& condition) { return condition.at.bit < 48; }))
        return "has conditions on the primary header, which firmware writes as telemetry, unsegmented";
    if (!std::ranges::all_of(body.fields, is_encodable) ||
        (has_batch && !std::ranges::all_of(body.groups[0].layout.fields, is_encodable)))
        return "has a field of a type, coding or bit order that firmware cannot encode; it can encode plain integers, "
               "IEEE 754 numbers, texts and octets";
    return "";
}

class Generator {
  public:
    explicit Generator(const Dictionary& dictionary)
        : dictionary_(dictionary), prefix_(prefix_of(dictionary)), macro_(upper(prefix_)) {}

    std::string run();

  private:
    void head();
    void support();
    void packet_types(const Packet& packet);
    void define(const std::string& name, const std::string& value);
    void enumerations(const std::string& owner, const std::vector<Field>& fields);
    void structure(const std::string& name, const std::string& description, const std::vector<Field>& fields,
                   const std::string& last_member);
    void converters(const std::string& owner, const std::vector<Field>& fields);
    [[nodiscard]] bool has_double() const;

    const Dictionary& dictionary_;
    std::string prefix_;
    std::string macro_;
    std::string text_;
    std::set<std::string> macros_;
};

void Generator::head() {
    text_ +=
        "/* Telemetry of " + comment(dictionary_.title) + ", dictionary version " + comment(dictionary_.version) +
        ". Generated: change the dictionary, not this file.\n\n"
        "   C99; needs no heap, no operating system, and only memcpy and memset of the C library. Fill a packet's\n"
        "   struct with raw values, call its encode function and send what it wrote. Count the sequence of each\n"
        "   packet type from 0, one more for every packet made, modulo 16384. */\n"
        "#ifndef " +
        macro_ + "TELEMETRY_H\n#define " + macro_ + "TELEMETRY_H\n\n";
}

/// support.h without its opening comment, each name with the vehicle's prefix.
void Generator::support() {
    constexpr std::string_view own = "turnstone_";
    std::string_view rest = firmware::kSupportText;
    rest.remove_prefix(rest.find("#include"));
    for (std::size_t at = rest.find(own); at != std::string_view::npos; at = rest.find(own)) {
        text_ += std::string(rest.substr(0, at)) + prefix_;
        rest.remove_prefix(at + own.size());
    }
    text_ += std::string(rest) + "\n";
}

void Generator::define(const std::string& name, const std::string& value) {
    macros_.insert(name);
    text_ += "#define " + name + " " + value + "\n";
}

void Generator::enumerations(const std::string& owner, const std::vector<Field>& fields) {
    for (const Field& field : fields) {
        for (const auto& [raw, word] : field.enumeration) {
            std::string name = macro_ + upper(owner + field.name + "_" + word);
            while (macros_.contains(name)) // two words can differ only in what a C name cannot say
                name += "_" + upper(std::to_string(raw));
            define(name, raw_constant(raw));
        }
    }
}

void Generator::structure(const std::string& name, const std::string& description, const std::vector<Field>& fields,
                          const std::string& last_member) {
    if (!description.empty()) text_ += "/* " + comment(description) + " */\n";
    text_ += "struct " + name + " {\n";
    for (const Field& field : fields) {
        if (field.is_part) continue;
        text_ += "    " + c_type(field) + " " + field.name;
        if (field.count > 1) text_ += "[" + std::to_string(field.count) + "]";
        if (field.is_text()) text_ += "[" + std::to_string(field.bit_width / 8) + "]";
        text_ += "; /* " + comment(meaning(field)) + " */\n";
    }
    text_ += last_member + "};\n\n";
}

void Generator::packet_types(const Packet& packet) {
    const std::size_t checked_bytes = packet.bytes_min + kCrc16Bytes;
    const std::string macro = macro_ + upper(packet.name);
    text_ += "/* ---- " + packet.name + " ---- */\n\n";
    define(macro + "_APID", std::to_string(packet.apid) + "u");
    define(macro + "_FRAME_BYTES_MAX", std::to_string(checked_bytes + cobs_overhead_max(checked_bytes) + 1) + "u");
    std::string batch_member;
    if (const Group* const found = firmware::batch_of(packet)) {
        const Group& batch = *found;
        define(macro + "_" + upper(batch.name) + "_COUNT", std::to_string(batch.count.number) + "u");
        enumerations(packet.name + "_", packet.body.fields);
        enumerations(packet.name + "_" + batch.name + "_", batch.layout.fields);
        text_ += "\n";
        const std::string name = prefix_ + packet.name + "_" + batch.name;
        structure(name,
                  "Sample k of " + std::to_string(batch.count.number) + " was taken at packet time + (" +
                      real(batch.first_offset_ms) + " ms) + k * " + real(batch.period_ms) + " ms.",
                  batch.layout.fields, "");
        batch_member = "    struct " + name + " " + batch.name + "[" + std::to_string(batch.count.number) + "];\n";
    } else {
        enumerations(packet.name + "_", packet.body.fields);
        text_ += "\n";
    }
    structure(prefix_ + packet.name, packet.description, packet.body.fields, batch_member);
    converters(packet.name, packet.body.fields);
    if (const Group* const batch = firmware::batch_of(packet))
        converters(packet.name + "_" + batch->name, batch->layout.fields);
}

void Generator::converters(const std::string& owner, const std::vector<Field>& fields) {
    for (const Field& field : fields) {
        const auto* linear = std::get_if<LinearCalibration>(&field.calibration);
        const bool identity = std::holds_alternative<std::monostate>(field.calibration);
        if (field.is_part || !is_integer(field) || field.bit_width > kHelperWidthMax || !field.enumeration.empty() ||
            !(linear != nullptr || identity))
            continue;
        const bool is_signed = field.type == FieldType::signed_integer;
        const double steps = static_cast<double>(1ULL << (field.bit_width - (is_signed ? 1U : 0U)));
        const std::string value = identity
                                      ? std::string("engineering")
                                      : "(engineering - (" + real(linear->offset) + ")) / (" + real(linear->gain) + ")";
        text_ += "/* Nearest raw value to " + std::string(identity ? "a value" : "a value in " + comment(field.unit)) +
                 ", limited to what the field holds. */\n";
        text_ += "static inline " + c_type(field) + " " + prefix_ + "raw_" + owner + "_" + field.name +
                 "(double engineering) {\n    return (" + c_type(field) + ")" + prefix_ + "nearest(" + value + ", " +
                 real(is_signed ? -steps : 0.0) + ", " + real(steps - 1.0) + ");\n}\n\n";
    }
}

bool Generator::has_double() const {
    const auto is_double = [](const Field& field) { return field.type == FieldType::ieee754 && field.bit_width == 64; };
    return std::any_of(dictionary_.packets.begin(), dictionary_.packets.end(), [&](const Packet& packet) {
        const Group* const batch = firmware::batch_of(packet);
        return std::ranges::any_of(packet.body.fields, is_double) ||
               (batch != nullptr && std::ranges::any_of(batch->layout.fields, is_double));
    });
}

std::string Generator::run() {
    head();
    support();
    define(macro_ + "DICTIONARY_VERSION", literal(dictionary_.version));
    text_ += "\n";
    if (has_double()) // some small compilers make double 32 bits wide; this must not compile there
        text_ += "typedef char " + prefix_ +
                 "needs_64_bit_double[sizeof(double) == 8 ? 1 : -1];\n\n"
                 "static inline uint64_t " +
                 prefix_ +
                 "double_bits(double value) {\n    uint64_t bits;\n"
                 "    memcpy(&bits, &value, sizeof bits);\n    return bits;\n}\n\n";
    text_ += firmware::begin_functions(prefix_, dictionary_);
    for (const Packet& packet : dictionary_.packets) {
        packet_types(packet);
        text_ += firmware::encode_function(prefix_, packet);
    }
    text_ += "#endif\n";
    return std::move(text_);
}

} // namespace

std::vector<std::string> firmware_obstacles(const Dictionary& dictionary) {
    std::vector<std::string> obstacles;
    for (const Packet& packet : dictionary.packets)
        if (const std::string obstacle = obstacle_of(packet); !obstacle.empty())
            obstacles.push_back("packet \"" + packet.name + "\" " + obstacle);
    return obstacles;
}

std::string generate_firmware_header(const Dictionary& dictionary) {
    return Generator(dictionary).run();
}

} // namespace turnstone
