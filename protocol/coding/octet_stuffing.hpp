#pragma once
/// Byte stuffing by an escape byte: keeps the delimiter of frames out of them.
///
///     hdlc   delimiter 7E, escape 7D; an escaped byte is sent XOR 20       RFC 1662, section 4.2
///     slip   delimiter C0, escape DB; C0 is sent DB DC, DB is sent DB DD   RFC 1055
///     kiss   as slip, with a byte of port and command before the data      M. Chepponis, P. Karn, "The KISS TNC", 1987
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "shared/words.hpp"

namespace turnstone {

enum class Stuffing : unsigned char { hdlc, slip, kiss };
consteval auto words_of(Stuffing) {
    return words<Stuffing::kiss>("hdlc", "slip", "kiss");
}

[[nodiscard]] constexpr std::byte delimiter_of(Stuffing stuffing) noexcept {
    return stuffing == Stuffing::hdlc ? std::byte{0x7E} : std::byte{0xC0};
}

struct UnstuffResult {
    bool complete;        ///< false: an escape before a byte that it cannot stand before, or at the end
    std::size_t produced; ///< correct whatever comes after
};

/// `stuffed` is one frame without its delimiters. `plain` has room for as many bytes, and does not overlap it.
[[nodiscard]] UnstuffResult unstuff(Stuffing stuffing, std::span<const std::byte> stuffed,
                                    std::span<std::byte> plain) noexcept;

/// Appends, without delimiters. `control_map`, of HDLC alone: bit k escapes the byte k below 32 too (RFC 1662, section
/// 7.1: the asynchronous control character map), where a line takes such bytes for itself.
void stuff(Stuffing stuffing, std::span<const std::byte> plain, std::vector<std::byte>& out,
           std::uint32_t control_map = 0);

} // namespace turnstone
