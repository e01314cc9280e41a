#include "protocol/framing/crc16.hpp"

#include <array>

#include "protocol/framing/crc16_folded.hpp"

namespace turnstone {
namespace {

/// Entry v: the register after byte v, begun with zero.
constexpr std::array<std::uint16_t, 256> kTable = [] {
    std::array<std::uint16_t, 256> table{};
    for (unsigned value = 0; value < 256; ++value)
        table[value] = crc16_shift(static_cast<std::uint16_t>(value << 8U), 8);
    return table;
}();

const bool kCanFold = can_fold_crc16();

} // namespace

std::uint16_t crc16_plain(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    for (const std::byte value : bytes)
        crc = static_cast<std::uint16_t>((crc << 8U) ^ kTable[(crc >> 8U) ^ std::to_integer<unsigned>(value)]);
    return crc;
}

std::uint16_t crc16(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    return kCanFold && bytes.size() >= kFoldBytesMin ? crc16_folded(bytes, crc) : crc16_plain(bytes, crc);
}

} // namespace turnstone
