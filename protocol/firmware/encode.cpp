#include "protocol/firmware/parts.hpp"

namespace turnstone::firmware {
namespace {

std::string number(std::uint64_t value) {
    return std::to_string(value) + "u";
}

std::string uint64_constant(std::uint64_t value) {
    return "UINT64_C(" + std::to_string(value) + ")";
}

std::string int64_constant(std::int64_t value) {
    return value < 0 ? "-INT64_C(" + std::to_string(-value) + ")" : "INT64_C(" + std::to_string(value) + ")";
}

/// The bits to send as an unsigned expression; values that do not fit the width are limited, not truncated.
std::string bits_of(const std::string& prefix, const Field& field, const std::string& value) {
    const unsigned width = field.bit_width;
    const bool fills_its_type = width == 8 || width == 16 || width == 32 || width == 64;
    switch (field.type) {
    case FieldType::unsigned_integer:
        return fills_its_type ? value : prefix + "at_most(" + value + ", " + uint64_constant((1ULL << width) - 1) + ")";
    case FieldType::signed_integer: {
        if (fills_its_type) return "(uint64_t)(int64_t)" + value;
        const std::int64_t limit = std::int64_t{1} << (width - 1);
        return prefix + "between(" + value + ", " + int64_constant(-limit) + ", " + int64_constant(limit - 1) + ")";
    }
    case FieldType::ieee754:
        if (width == 64) return prefix + "double_bits(" + value + ")";
        return prefix + (width == 32 ? "float_bits(" : "half_bits(") + value + ")";
    case FieldType::mil_std_1750a:
    case FieldType::text:
    case FieldType::bytes:
    case FieldType::time: break;
    }
    return {};
}

/// Statements that write one field; `base` is where its bit offset counts from.
std::string put_field(const std::string& prefix, const Field& field, const std::string& owner, const std::string& base,
                      const std::string& indent) {
    const bool is_array = field.count > 1;
    const std::string value = owner + field.name + (is_array ? "[j]" : "");
    const bool is_whole_bytes = field.bit_offset % 8 == 0 && field.bit_width % 8 == 0;
    const std::string bytes = std::to_string(field.bit_width / 8);
    const std::string at =
        base + " + " + number(field.bit_offset / 8) + (is_array ? " + " + bytes + "u * j" : std::string());
    std::string text;
    std::string inner = indent;
    if (is_array) {
        text += indent + "for (size_t j = 0; j < " + number(field.count) + "; ++j)\n";
        inner += "    ";
    }
    if (field.type == FieldType::bytes) {
        text += inner + "memcpy(" + at + ", " + value + ", " + bytes + "u);\n";
    } else if (field.type == FieldType::text) {
        text += inner + "for (size_t i = 0; i < " + bytes + "u && " + value + "[i] != '\\0'; ++i)\n" + inner + "    (" +
                at + ")[i] = (uint8_t)" + value + "[i];\n";
    } else if (is_whole_bytes) {
        text += inner + prefix + (field.byte_order == ByteOrder::little ? "put_little(" : "put_big(") + at + ", " +
                bytes + ", " + bits_of(prefix, field, value) + ");\n";
    } else {
        text += inner + prefix + "put_bits(" + base + ", " + number(field.bit_offset) +
                (is_array ? " + " + number(field.bit_width) + " * j" : std::string()) + ", " +
                std::to_string(field.bit_width) + ", " + bits_of(prefix, field, value) + ");\n";
    }
    return text;
}

/// What tells the begin functions of different time codes apart; empty for the first.
std::string begin_name(const std::string& prefix, const Packet& packet) {
    if (!packet.time) return prefix + "begin_untimed";
    return prefix + "begin" + (packet.time->clock == 0 ? "" : "_" + std::to_string(packet.time->clock));
}

bool is_milliseconds(const TimeCode& time) {
    return time == TimeCode{};
}

/// Each with a comma before it.
std::string time_parameters(const Packet& packet, bool types) {
    if (!packet.time) return "";
    const std::string type = types ? "uint32_t " : "";
    const TimeCode& time = packet.time->code;
    if (is_milliseconds(time)) return ", " + type + "time_ms";
    return ", " + type + "time_coarse" + (time.fine_bytes == 0 ? "" : ", " + type + "time_fine");
}

std::string begin_function(const std::string& prefix, const Packet& packet) {
    const std::string put = "    " + prefix + "put_big(packet";
    const std::string header_bytes = number(6 + packet.header_bytes);
    std::string text = "/* Header and time of a packet whose user data starts as zeros; returns where they begin. */\n"
                       "static inline uint8_t* " +
                       begin_name(prefix, packet) + "(uint8_t* packet, uint16_t apid, uint16_t sequence_count" +
                       time_parameters(packet, true) + ", size_t user_bytes) {\n";
    text += "    memset(packet, 0, " + header_bytes + " + user_bytes);\n";
    text += put + ", 2, " + (packet.time ? "0x0800u | " : "") + "apid);\n";
    text += put + " + 2, 2, 0xC000u | (sequence_count & 0x3FFFu));\n";
    text += put + " + 4, 2, " + number(packet.header_bytes) + " + user_bytes - 1u);\n";
    if (packet.time && is_milliseconds(packet.time->code)) {
        text += put + " + 6, 4, time_ms);\n";
    } else if (packet.time) {
        const TimeCode& time = packet.time->code;
        text += put + " + 6, " + std::to_string(time.coarse_bytes) + ", time_coarse);\n";
        if (time.fine_bytes != 0)
            text += put + " + " + std::to_string(6 + time.coarse_bytes) + ", " + std::to_string(time.fine_bytes) +
                    ", time_fine);\n";
    }
    return text + "    return packet + " + header_bytes + ";\n}\n\n";
}

} // namespace

const Group* batch_of(const Packet& packet) {
    return packet.body.groups.empty() ? nullptr : &packet.body.groups.front();
}

std::string begin_functions(const std::string& prefix, const Dictionary& dictionary) {
    std::string text;
    for (const Packet& packet : dictionary.packets) {
        const std::string one = begin_function(prefix, packet);
        if (text.find(one) == std::string::npos) text += one;
    }
    return text;
}

std::string encode_function(const std::string& prefix, const Packet& packet) {
    const std::string name = prefix + packet.name;
    const std::string macro = upper(prefix + packet.name);
    std::string text = "/* Writes one whole frame to `out` and returns its size; 0 when out_size is less than\n   " +
                       macro + "_FRAME_BYTES_MAX. */\n";
    text += "static inline size_t " + prefix + "encode_" + packet.name +
            "(uint8_t* out, size_t out_size, uint16_t sequence_count" + time_parameters(packet, true) +
            ",\n    const struct " + name + "* in) {\n";
    text += "    uint8_t* packet;\n    uint8_t* user;\n";
    text += "    if (out_size < " + macro + "_FRAME_BYTES_MAX)\n        return 0;\n";
    text += "    packet = out + (" + macro + "_FRAME_BYTES_MAX - " + number(packet.bytes_min + 3) + ");\n";
    text += "    user = " + begin_name(prefix, packet) + "(packet, " + macro + "_APID, sequence_count" +
            time_parameters(packet, false) + ", " + number(packet.bytes_min - 6 - packet.header_bytes) + ");\n";
    for (const Field& field : packet.body.fields)
        if (!field.is_part) text += put_field(prefix, field, "in->", "user", "    ");
    if (const Group* const batch = batch_of(packet)) {
        text += "    for (size_t k = 0; k < " + number(batch->count.number) + "; ++k) {\n";
        text += "        const struct " + name + "_" + batch->name + "* const sample = &in->" + batch->name + "[k];\n";
        text += "        uint8_t* const at = user + " + number((packet.body.segments[0].bits + 7) / 8) + " + " +
                number((batch->layout.bits_fixed.value_or(0) + 7) / 8) + " * k;\n";
        for (const Field& field : batch->layout.fields)
            if (!field.is_part) text += put_field(prefix, field, "sample->", "at", "        ");
        text += "    }\n";
    }
    text += "    return " + prefix + "finish(out, packet, " + number(packet.bytes_min) + ");\n}\n\n";
    return text;
}

} // namespace turnstone::firmware
