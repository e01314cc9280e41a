#include "protocol/dictionary/utf8.hpp"

namespace turnstone {
namespace {

struct Lead {
    std::size_t size;                ///< of the sequence; 0: no lead octet
    unsigned second_min, second_max; ///< the second octet is narrower than the rest for some leads
};

constexpr Lead lead(unsigned octet) {
    if (octet < 0x80) return {1, 0, 0};
    if (octet >= 0xC2 && octet <= 0xDF) return {2, 0x80, 0xBF};
    if (octet >= 0xE0 && octet <= 0xEF) return {3, octet == 0xE0 ? 0xA0U : 0x80U, octet == 0xED ? 0x9FU : 0xBFU};
    if (octet >= 0xF0 && octet <= 0xF4) return {4, octet == 0xF0 ? 0x90U : 0x80U, octet == 0xF4 ? 0x8FU : 0xBFU};
    return {0, 0, 0};
}

} // namespace

std::size_t to_valid_utf8(std::span<const std::byte> octets, char* out) noexcept {
    const char* const begin = out;
    std::size_t at = 0;
    while (at < octets.size()) {
        const Lead first = lead(std::to_integer<unsigned>(octets[at]));
        std::size_t good = first.size == 0 ? 0 : 1;
        while (good != 0 && good < first.size && at + good < octets.size()) {
            const auto next = std::to_integer<unsigned>(octets[at + good]);
            const unsigned least = good == 1 ? first.second_min : 0x80;
            const unsigned greatest = good == 1 ? first.second_max : 0xBF;
            if (next < least || next > greatest) break;
            ++good;
        }
        if (good != 0 && good == first.size) {
            for (std::size_t i = 0; i < good; ++i) *out++ = static_cast<char>(octets[at + i]);
            at += good;
        } else {
            for (const char c : {'\xEF', '\xBF', '\xBD'}) *out++ = c;
            at += good == 0 ? 1 : good;
        }
    }
    return static_cast<std::size_t>(out - begin);
}

} // namespace turnstone
