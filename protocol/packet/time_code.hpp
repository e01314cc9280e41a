#pragma once
/// On-board time in the secondary header: LINK.md, section "Time codes". The CCSDS unsegmented time code (CUC) is that
/// of CCSDS 301.0-B-4, 3.2, without the P-field (the dictionary says what the P-field would).
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

struct TimeCode {
    enum class Kind : unsigned char { u32_ms, cuc };
    Kind kind = Kind::u32_ms;
    unsigned coarse_octets = 4; ///< CUC basic time unit octets, 1..4
    unsigned fine_octets = 0;   ///< CUC fractional octets, 0..3
    [[nodiscard]] constexpr unsigned octets() const noexcept {
        return kind == Kind::u32_ms ? 4 : coarse_octets + fine_octets;
    }
    /// Nanoseconds after which the counter starts again at zero.
    [[nodiscard]] double rollover_ns() const noexcept;
};

inline constexpr std::size_t kTimeCodeOctetsMax = 7;

/// Counter value in nanoseconds, rounded to the nearest; rollovers are not removed. `octets` holds at least
/// code.octets().
[[nodiscard]] std::uint64_t decode_time_ns(const TimeCode& code, std::span<const std::byte> octets) noexcept;

/// The counter value nearest to `ns`, modulo its rollover; the first code.octets() octets are meant.
[[nodiscard]] std::array<std::byte, kTimeCodeOctetsMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept;

} // namespace turnstone
