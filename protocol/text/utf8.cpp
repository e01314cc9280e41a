#include "protocol/text/utf8.hpp"

namespace turnstone {
namespace {

struct Lead {
    std::size_t size;                ///< of the sequence; 0: not a lead byte
    unsigned second_min, second_max; ///< some lead bytes limit the second byte further
};

constexpr Lead lead(unsigned byte) {
    if (byte < 0x80) return {1, 0, 0};
    if (byte >= 0xC2 && byte <= 0xDF) return {2, 0x80, 0xBF};
    if (byte >= 0xE0 && byte <= 0xEF) return {3, byte == 0xE0 ? 0xA0U : 0x80U, byte == 0xED ? 0x9FU : 0xBFU};
    if (byte >= 0xF0 && byte <= 0xF4) return {4, byte == 0xF0 ? 0x90U : 0x80U, byte == 0xF4 ? 0x8FU : 0xBFU};
    return {0, 0, 0};
}

} // namespace

std::size_t to_valid_utf8(std::span<const std::byte> bytes, char* out) noexcept {
    const char* const begin = out;
    std::size_t at = 0;
    while (at < bytes.size()) {
        const Lead first = lead(std::to_integer<unsigned>(bytes[at]));
        std::size_t good = first.size == 0 ? 0 : 1;
        while (good != 0 && good < first.size && at + good < bytes.size()) {
            const auto next = std::to_integer<unsigned>(bytes[at + good]);
            const unsigned least = good == 1 ? first.second_min : 0x80;
            const unsigned greatest = good == 1 ? first.second_max : 0xBF;
            if (next < least || next > greatest) break;
            ++good;
        }
        if (good != 0 && good == first.size) {
            for (std::size_t i = 0; i < good; ++i) *out++ = static_cast<char>(bytes[at + i]);
            at += good;
        } else {
            for (const char c : {'\xEF', '\xBF', '\xBD'}) *out++ = c;
            at += good == 0 ? 1 : good;
        }
    }
    return static_cast<std::size_t>(out - begin);
}

} // namespace turnstone
