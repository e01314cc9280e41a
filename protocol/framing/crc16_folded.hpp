#pragma once
/// CRC-16/IBM-3740 by carry-less multiplication. Inner part of crc16().
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

inline constexpr std::size_t kFoldBytesMin = 16;

/// Whether this processor has the instructions.
[[nodiscard]] bool can_fold_crc16() noexcept;

/// As crc16_plain(), for at least kFoldBytesMin bytes and only where can_fold_crc16().
[[nodiscard]] std::uint16_t crc16_folded(std::span<const std::byte> bytes, std::uint16_t crc) noexcept;

} // namespace turnstone
