#pragma once
/// Consistent overhead byte stuffing: makes any bytes free of 0x00, so that 0x00 can delimit frames.
/// Source: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
#include <cstddef>
#include <span>

namespace turnstone {

enum class CobsStatus : unsigned char {
    complete,    ///< everything was consumed
    zero_inside, ///< 0x00 where encoded data cannot have one; `consumed` stops before it
    cut_short,   ///< the last code byte asks for more bytes than there are; those there are were produced
    no_room      ///< the output is too small; the `produced` bytes are correct
};

/// Both counts are correct whatever the status.
struct CobsResult {
    CobsStatus status;
    std::size_t consumed;
    std::size_t produced;
};

/// The most that encoding `size` bytes can add, without the delimiter.
[[nodiscard]] constexpr std::size_t cobs_overhead_max(std::size_t size) noexcept {
    return size / 254 + 1;
}

/// Undoes COBS. `encoded` is one frame without its delimiter; an empty one decodes to nothing. A last block of exactly
/// 254 bytes is accepted with and without the final 0x01. `decoded` must not overlap `encoded`.
[[nodiscard]] CobsResult cobs_decode(std::span<const std::byte> encoded, std::span<std::byte> decoded) noexcept;

/// The same for bytes known to contain no 0x00, as between two delimiters; the status is never `zero_inside`.
[[nodiscard]] CobsResult cobs_decode_nonzero(std::span<const std::byte> encoded, std::span<std::byte> decoded) noexcept;

/// Stuffs `plain` without a delimiter, in the short form (no final 0x01 after a last block of 254 bytes).
/// In place: `plain` may lie in `encoded` if it starts at least cobs_overhead_max(plain.size()) bytes after its start.
/// The status is `complete` or `no_room`.
[[nodiscard]] CobsResult cobs_encode(std::span<const std::byte> plain, std::span<std::byte> encoded) noexcept;

} // namespace turnstone
