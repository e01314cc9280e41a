#pragma once
/// CRC-16/IBM-3740: polynomial 0x1021, initial value 0xFFFF, not reflected, no final XOR, check value 0x29B1. This is
/// the packet error control of protocol/LINK.md and of CCSDS 132.0-B-3 (frame error control field). Source of the
/// parameters: Catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740.
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

inline constexpr std::uint16_t kCrc16Initial = 0xFFFF;
inline constexpr std::size_t kCrc16Octets = 2;

/// The fastest way this processor has: carry-less multiply where there is one, slicing by eight elsewhere.
/// `crc` is the register to go on from, so that crc16(b, crc16(a)) == crc16(a followed by b).
[[nodiscard]] std::uint16_t crc16(std::span<const std::byte> bytes, std::uint16_t crc = kCrc16Initial) noexcept;

/// Bit by bit, straight from the definition: what tests compare the fast ways with.
[[nodiscard]] std::uint16_t crc16_plain(std::span<const std::byte> bytes, std::uint16_t crc = kCrc16Initial) noexcept;

/// Table-driven, eight octets a step; runs on every processor.
[[nodiscard]] std::uint16_t crc16_sliced(std::span<const std::byte> bytes, std::uint16_t crc = kCrc16Initial) noexcept;

} // namespace turnstone
