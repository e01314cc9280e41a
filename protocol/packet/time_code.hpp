#pragma once
/// Time as packets carry it: DICTIONARY.md, section "Time codes". CUC, CDS and CCS are the unsegmented, the day
/// segmented and the calendar segmented code of CCSDS 301.0-B-4, 3.2 to 3.4; a counter is what else boards count in.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace turnstone {

/// What a second is: one of TAI, or one of UTC days of 86,400 s.
enum class TimeScale : unsigned char { tai, utc };

struct TimeCode {
    enum class Kind : unsigned char { counter, cuc, cds, ccs };
    Kind kind = Kind::counter;
    unsigned coarse_bytes = 0;         ///< whole seconds: counter 0..7, CUC 1..7
    unsigned fine_bytes = 4;           ///< counter 0..8, CUC 0..10 (binary fractions of a second)
    std::uint64_t fine_hz = 1000;      ///< counter: the fine part counts in 1/fine_hz s
    unsigned day_bytes = 2;            ///< CDS: 2 or 3
    unsigned submillisecond_bytes = 0; ///< CDS: 0, 2 (microseconds) or 4 (picoseconds)
    unsigned fraction_bytes = 0;       ///< CCS: 0..6, two decimal digits each
    bool is_day_of_year = false;       ///< CCS: instead of month and day
    bool is_little = false;            ///< counter: each part's least significant byte first
    unsigned p_field_bytes = 0;        ///< 0..2, before the time itself
    TimeScale scale = TimeScale::tai;
    /// UTC since 1970-01-01, leap seconds not counted; none: the clock starts when the vehicle's computer does.
    std::optional<std::int64_t> epoch_utc_ns = std::nullopt;

    [[nodiscard]] unsigned bytes() const noexcept; ///< on the link, P-field included
    /// Nanoseconds after which the counter returns to zero.
    [[nodiscard]] double rollover_ns() const noexcept;
    friend bool operator==(const TimeCode&, const TimeCode&) = default;
};

inline constexpr std::size_t kTimeCodeBytesMax = 19; ///< CUC of 7 and 10, with a P-field of 2

/// Nanoseconds rounded to the nearest, rollovers not removed: of a counter or CUC since its epoch, of CDS and CCS of
/// TAI since 1958-01-01, whatever its scale, so that it has no steps. Empty: fewer bytes than code.bytes(), a value
/// that cannot be (month 13, a P-field of another code), or one that 63 bits do not hold (292 years).
[[nodiscard]] std::optional<std::int64_t> decode_time_ns(const TimeCode& code,
                                                         std::span<const std::byte> bytes) noexcept;

/// UTC since 1970-01-01, leap seconds not counted, of what decode_time_ns() gave; empty without an epoch.
[[nodiscard]] std::optional<std::int64_t> utc_ns_of(const TimeCode& code, std::int64_t time_ns) noexcept;

/// The value of a counter or CUC nearest to `ns`, modulo its rollover; only the first code.bytes() bytes count, and of
/// those the ones after the P-field, which stays zero.
[[nodiscard]] std::array<std::byte, kTimeCodeBytesMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept;

/// What a P-field says. The epoch of the code is set only when it says that it is 1958-01-01.
[[nodiscard]] std::optional<TimeCode> read_p_field(std::span<const std::byte> bytes) noexcept;

} // namespace turnstone
