#pragma once
/// CRC-16/IBM-3740: polynomial 0x1021, initial value 0xFFFF, not reflected, no final XOR, check value 0x29B1. This is
/// the packet error control of protocol/LINK.md and of CCSDS 132.0-B-3 (frame error control field). Source of the
/// parameters: Catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740.
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

inline constexpr std::uint16_t kCrc16Polynomial = 0x1021; ///< without its x^16
inline constexpr std::uint16_t kCrc16Initial = 0xFFFF;
inline constexpr std::size_t kCrc16Bytes = 2;

/// The register after `bits` zero bits, which is the register times x^bits modulo the polynomial.
constexpr std::uint16_t crc16_shift(std::uint16_t crc, unsigned bits) noexcept {
    for (unsigned bit = 0; bit < bits; ++bit) {
        const bool carry = (crc & 0x8000U) != 0;
        crc = static_cast<std::uint16_t>(crc << 1U);
        if (carry) crc ^= kCrc16Polynomial;
    }
    return crc;
}

/// The faster of the two ways below on this processor. `crc` is the register to continue from, so that
/// crc16(b, crc16(a)) == crc16(a followed by b).
[[nodiscard]] std::uint16_t crc16(std::span<const std::byte> bytes, std::uint16_t crc = kCrc16Initial) noexcept;

/// One byte at a time through a table of 256 entries, on any processor: what tests compare crc16_folded() with.
[[nodiscard]] std::uint16_t crc16_plain(std::span<const std::byte> bytes, std::uint16_t crc = kCrc16Initial) noexcept;

} // namespace turnstone
