#include "protocol/framing/crc.hpp"

#include <algorithm>
#include <charconv>

namespace turnstone {
namespace {

std::uint32_t mirrored(std::uint32_t value, unsigned bits) noexcept {
    std::uint32_t out = 0;
    for (unsigned k = 0; k < bits; ++k) out |= (value >> k & 1U) << (bits - 1 - k);
    return out;
}

std::optional<std::uint32_t> whole(std::string_view text, int base) noexcept {
    std::uint32_t value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, base);
    if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
    return value;
}

} // namespace

std::optional<CrcKind> crc_kind_from_text(std::string_view text) noexcept {
    const auto known = std::ranges::find(kCrcKinds, text, &CrcKind::name);
    if (known != kCrcKinds.end()) return *known;
    std::array<std::string_view, 5> parts;
    for (std::size_t k = 0; k < parts.size(); ++k) {
        const std::size_t colon = text.find(':');
        if ((colon == std::string_view::npos) != (k + 1 == parts.size())) return std::nullopt;
        parts[k] = text.substr(0, colon);
        text.remove_prefix(std::min(text.size(), parts[k].size() + 1));
    }
    const auto width = whole(parts[0], 10), polynomial = whole(parts[1], 16), initial = whole(parts[2], 16),
               final_xor = whole(parts[4], 16);
    if (!width || *width % 8 != 0 || *width < 8 || *width > 32) return std::nullopt;
    if (!polynomial || !initial || !final_xor || (parts[3] != "yes" && parts[3] != "no")) return std::nullopt;
    const std::uint32_t most = 0xFFFFFFFFU >> (32 - *width);
    if (*polynomial == 0 || *polynomial > most || *initial > most || *final_xor > most) return std::nullopt;
    return CrcKind{"", *width, *polynomial, *initial, parts[3] == "yes", *final_xor};
}

// The register of a reflected kind is kept mirrored and moves to the right; any other stands at the top of 32 bits and
// moves to the left, so that one step serves every width.
Crc::Crc(const CrcKind& kind) noexcept : kind_(kind) {
    const unsigned up = 32 - kind.width;
    const std::uint32_t polynomial = kind.reflected ? mirrored(kind.polynomial, kind.width) : kind.polynomial << up;
    for (std::uint32_t k = 0; k < table_.size(); ++k) {
        std::uint32_t crc = kind.reflected ? k : k << 24U;
        for (unsigned bit = 0; bit < 8; ++bit) {
            const bool carry = kind.reflected ? (crc & 1U) != 0 : (crc & 0x80000000U) != 0;
            crc = kind.reflected ? crc >> 1U : crc << 1U;
            if (carry) crc ^= polynomial;
        }
        table_[k] = crc;
    }
}

std::uint32_t Crc::of(std::span<const std::byte> bytes) const noexcept {
    const unsigned up = 32 - kind_.width;
    if (kind_.reflected) {
        std::uint32_t crc = mirrored(kind_.initial, kind_.width);
        for (const std::byte byte : bytes)
            crc = crc >> 8U ^ table_[(crc ^ std::to_integer<std::uint32_t>(byte)) & 0xFFU];
        return crc ^ kind_.final_xor;
    }
    std::uint32_t crc = kind_.initial << up;
    for (const std::byte byte : bytes) crc = crc << 8U ^ table_[crc >> 24U ^ std::to_integer<std::uint32_t>(byte)];
    return (crc >> up) ^ kind_.final_xor;
}

} // namespace turnstone
