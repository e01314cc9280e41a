#pragma once
/// Cyclic redundancy checks of any kind, described by the parameters of the Catalogue of parametrised CRC algorithms
/// (R. N. Williams, "A painless guide to CRC error detection algorithms", 1993), one byte at a time through a table.
/// The one of the default framing has a way of its own: crc16.hpp.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace turnstone {

struct CrcKind {
    std::string_view name; ///< of the catalogue; empty: described by hand
    unsigned width;        ///< bits: 8, 16, 24 or 32
    std::uint32_t polynomial;
    std::uint32_t initial;
    bool reflected; ///< input and output
    std::uint32_t final_xor;
    [[nodiscard]] std::size_t bytes() const noexcept { return width / 8; }
};

/// From the catalogue.
inline constexpr std::array<CrcKind, 9> kCrcKinds = {{
    {"CRC-8/SMBUS", 8, 0x07, 0x00, false, 0x00},
    {"CRC-16/ARC", 16, 0x8005, 0x0000, true, 0x0000},
    {"CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, false, 0x0000},
    {"CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, true, 0xFFFF},
    {"CRC-16/KERMIT", 16, 0x1021, 0x0000, true, 0x0000},
    {"CRC-16/MODBUS", 16, 0x8005, 0xFFFF, true, 0x0000},
    {"CRC-16/XMODEM", 16, 0x1021, 0x0000, false, 0x0000},
    {"CRC-32/ISCSI", 32, 0x1EDC6F41, 0xFFFFFFFF, true, 0xFFFFFFFF},
    {"CRC-32/ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, true, 0xFFFFFFFF},
}};

/// A name of the catalogue, or WIDTH:POLYNOMIAL:INITIAL:REFLECTED:FINAL_XOR, e.g. 16:1021:FFFF:no:0000, hexadecimal but
/// for the width.
[[nodiscard]] std::optional<CrcKind> crc_kind_from_text(std::string_view text) noexcept;

class Crc {
  public:
    explicit Crc(const CrcKind& kind) noexcept;
    [[nodiscard]] std::uint32_t of(std::span<const std::byte> bytes) const noexcept;
    [[nodiscard]] const CrcKind& kind() const noexcept { return kind_; }

  private:
    CrcKind kind_;
    std::array<std::uint32_t, 256> table_{};
};

} // namespace turnstone
