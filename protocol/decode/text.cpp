#include "protocol/decode/text.hpp"

#include <algorithm>

#include "protocol/text/utf8.hpp"

namespace turnstone {
namespace {

constexpr std::uint32_t kReplacement = 0xFFFD;

bool is_wide(TextEncoding encoding) noexcept {
    return encoding == TextEncoding::utf_16be || encoding == TextEncoding::utf_16le;
}

char* put(std::uint32_t code_point, char* out) noexcept {
    const auto add = [&out](std::uint32_t byte) { *out++ = static_cast<char>(byte); };
    if (code_point < 0x80) {
        add(code_point);
    } else if (code_point < 0x800) {
        add(0xC0U | code_point >> 6U);
        add(0x80U | (code_point & 0x3FU));
    } else if (code_point < 0x10000) {
        add(0xE0U | code_point >> 12U);
        add(0x80U | (code_point >> 6U & 0x3FU));
        add(0x80U | (code_point & 0x3FU));
    } else {
        add(0xF0U | code_point >> 18U);
        add(0x80U | (code_point >> 12U & 0x3FU));
        add(0x80U | (code_point >> 6U & 0x3FU));
        add(0x80U | (code_point & 0x3FU));
    }
    return out;
}

char* put_utf_16(std::span<const std::byte> bytes, bool is_little, char* out) noexcept {
    const auto unit = [&](std::size_t at) {
        return std::to_integer<std::uint32_t>(bytes[is_little ? at + 1 : at]) << 8U |
               std::to_integer<std::uint32_t>(bytes[is_little ? at : at + 1]);
    };
    std::size_t at = 0;
    for (; at + 1 < bytes.size(); at += 2) {
        std::uint32_t code_point = unit(at);
        if (code_point >= 0xD800 && code_point <= 0xDFFF) {
            const std::uint32_t low = code_point < 0xDC00 && at + 3 < bytes.size() ? unit(at + 2) : 0;
            if (low >= 0xDC00 && low <= 0xDFFF) {
                code_point = 0x10000 + ((code_point - 0xD800) << 10U) + (low - 0xDC00);
                at += 2;
            } else {
                code_point = kReplacement;
            }
        }
        out = put(code_point, out);
    }
    return at < bytes.size() ? put(kReplacement, out) : out;
}

} // namespace

std::optional<std::size_t> find_terminator(const Field& field, std::span<const std::byte> bytes) noexcept {
    const std::size_t size = field.terminator.size();
    if (size == 0) return std::nullopt;
    const std::size_t step = is_wide(field.encoding) ? 2 : 1;
    for (std::size_t at = 0; at + size <= bytes.size(); at += step)
        if (std::equal(field.terminator.begin(), field.terminator.end(),
                       bytes.begin() + static_cast<std::ptrdiff_t>(at)))
            return at;
    return std::nullopt;
}

std::size_t write_text(const Field& field, std::span<const std::byte> bytes, char* out) noexcept {
    bytes = bytes.first(find_terminator(field, bytes).value_or(bytes.size()));
    char* end = out;
    if (field.type == FieldType::bytes) {
        constexpr const char* kDigits = "0123456789ABCDEF";
        for (const std::byte byte : bytes) {
            *end++ = kDigits[std::to_integer<unsigned>(byte) >> 4U];
            *end++ = kDigits[std::to_integer<unsigned>(byte) & 0xFU];
        }
        return static_cast<std::size_t>(end - out);
    }
    switch (field.encoding) {
    case TextEncoding::utf_8: return to_valid_utf8(bytes, out);
    case TextEncoding::us_ascii:
        for (const std::byte byte : bytes)
            end = put(std::to_integer<unsigned>(byte) < 0x80 ? std::to_integer<unsigned>(byte) : kReplacement, end);
        break;
    case TextEncoding::iso_8859_1:
        for (const std::byte byte : bytes) end = put(std::to_integer<unsigned>(byte), end);
        break;
    case TextEncoding::utf_16be: end = put_utf_16(bytes, false, end); break;
    case TextEncoding::utf_16le: end = put_utf_16(bytes, true, end); break;
    }
    return static_cast<std::size_t>(end - out);
}

} // namespace turnstone
