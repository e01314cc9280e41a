#include "server/serve/parse/utf8.hpp"

#include <cstddef>

namespace turnstone {

bool is_utf8(std::string_view bytes) noexcept {
    const auto at = [&](std::size_t i) { return i < bytes.size() ? static_cast<unsigned char>(bytes[i]) : 0u; };
    for (std::size_t i = 0; i < bytes.size();) {
        const unsigned first = at(i++);
        if (first < 0x80) continue;
        const std::size_t tails = first >= 0xf0 ? 3 : first >= 0xe0 ? 2 : 1;
        if (first < 0xc2 || first > 0xf4) return false;
        // What may follow at once is narrower where a form would be overlong, a surrogate or too large.
        const unsigned least = first == 0xe0 ? 0xa0 : first == 0xf0 ? 0x90 : 0x80;
        const unsigned most = first == 0xed ? 0x9f : first == 0xf4 ? 0x8f : 0xbf;
        if (at(i) < least || at(i) > most) return false;
        for (std::size_t tail = 1; tail < tails; ++tail)
            if ((at(i + tail) & 0xc0) != 0x80) return false;
        i += tails;
    }
    return true;
}

} // namespace turnstone
