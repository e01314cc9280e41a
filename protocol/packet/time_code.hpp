#pragma once
/// On-board time in the secondary header: LINK.md, section "Time codes". The CCSDS unsegmented time code (CUC) is that
/// of CCSDS 301.0-B-4, 3.2, without the P-field (the dictionary says what the P-field would say).
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

struct TimeCode {
    enum class Kind : unsigned char { u32_ms, cuc };
    Kind kind = Kind::u32_ms;
    unsigned coarse_bytes = 4; ///< CUC whole seconds, 1..4
    unsigned fine_bytes = 0;   ///< CUC binary fractions of a second, 0..3
    [[nodiscard]] constexpr unsigned bytes() const noexcept {
        return kind == Kind::u32_ms ? 4 : coarse_bytes + fine_bytes;
    }
    /// Nanoseconds after which the counter returns to zero.
    [[nodiscard]] double rollover_ns() const noexcept;
};

inline constexpr std::size_t kTimeCodeBytesMax = 7;

/// Counter value in nanoseconds, rounded to the nearest; rollovers are not removed. `bytes` holds at least
/// code.bytes().
[[nodiscard]] std::uint64_t decode_time_ns(const TimeCode& code, std::span<const std::byte> bytes) noexcept;

/// The counter value nearest to `ns`, modulo its rollover; only the first code.bytes() bytes count.
[[nodiscard]] std::array<std::byte, kTimeCodeBytesMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept;

} // namespace turnstone
