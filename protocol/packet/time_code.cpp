#include "protocol/packet/time_code.hpp"

#include <chrono>
#include <cmath>
#include <limits>

#include "protocol/packet/leap_seconds.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

__extension__ using Wide = unsigned __int128;

constexpr std::uint64_t kNsInS = kNsPerS;
constexpr std::uint64_t kSecondsInDay = kSecondsPerDay;
constexpr std::int64_t kEpoch1958_ns = kTaiEpochDays * kSecondsPerDay * kNsPerS;
constexpr Wide kNsMost = std::numeric_limits<std::int64_t>::max();

Wide read_number(std::span<const std::byte> bytes, bool is_little) noexcept {
    Wide value = 0;
    for (std::size_t i = 0; i < bytes.size(); ++i)
        value = value << 8U | std::to_integer<unsigned>(bytes[is_little ? bytes.size() - 1 - i : i]);
    return value;
}

std::optional<std::int64_t> in_63_bits(Wide ns) noexcept {
    if (ns > kNsMost) return std::nullopt;
    return static_cast<std::int64_t>(ns);
}

std::optional<std::int64_t> decode_counter(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    const Wide coarse = read_number(bytes.first(code.coarse_bytes), code.is_little);
    const Wide fine = read_number(bytes.subspan(code.coarse_bytes, code.fine_bytes), code.is_little);
    return in_63_bits(coarse * kNsInS + (fine * kNsInS + code.fine_hz / 2) / code.fine_hz);
}

std::optional<std::int64_t> decode_cuc(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    const Wide coarse = read_number(bytes.first(code.coarse_bytes), false);
    const Wide fine = read_number(bytes.subspan(code.coarse_bytes, code.fine_bytes), false);
    const unsigned fine_bits = 8 * code.fine_bytes;
    const Wide half = fine_bits == 0 ? 0 : Wide{1} << (fine_bits - 1);
    return in_63_bits(coarse * kNsInS + ((fine * kNsInS + half) >> fine_bits));
}

/// `utc_day` counts from 1970-01-01; second 86,400 is a leap second. `ns_of_s` may round up to a whole second.
std::optional<std::int64_t> tai_of_day(const TimeCode& code, std::int64_t utc_day, std::uint64_t second_of_day,
                                       std::uint64_t ns_of_s) noexcept {
    if (utc_day < kTaiEpochDays) return std::nullopt;
    const bool counts_utc = code.scale == TimeScale::utc;
    if (second_of_day >= kSecondsInDay + (counts_utc && has_leap_second(utc_day) ? 1 : 0)) return std::nullopt;
    const auto days = static_cast<std::uint64_t>(utc_day - kTaiEpochDays);
    const auto leap_s = static_cast<std::uint64_t>(counts_utc ? tai_minus_utc_s(utc_day) : 0);
    return in_63_bits((Wide{days} * kSecondsInDay + second_of_day + leap_s) * kNsInS + ns_of_s);
}

std::optional<std::int64_t> decode_cds(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    const auto part = [&](std::size_t at, std::size_t size) {
        return static_cast<std::uint64_t>(read_number(bytes.subspan(at, size), false));
    };
    const std::uint64_t ms = part(code.day_bytes, 4);
    const std::uint64_t below = part(code.day_bytes + 4, code.submillisecond_bytes);
    if (below >= (code.submillisecond_bytes == 4 ? 1'000'000'000U : 1000U)) return std::nullopt;
    const std::uint64_t ns_of_ms = code.submillisecond_bytes == 4 ? (below + 500) / 1000 : below * 1000;
    const std::int64_t epoch_day = code.epoch_utc_ns.value_or(kEpoch1958_ns) / (kSecondsPerDay * kNsPerS);
    return tai_of_day(code, epoch_day + static_cast<std::int64_t>(part(0, code.day_bytes)), ms / 1000,
                      ms % 1000 * static_cast<std::uint64_t>(kNsPerMs) + ns_of_ms);
}

/// Two decimal digits a byte. Empty: a half of a byte is not a digit.
std::optional<std::uint64_t> read_decimal(std::span<const std::byte> bytes) noexcept {
    std::uint64_t value = 0;
    for (const std::byte byte : bytes) {
        const auto both = std::to_integer<unsigned>(byte);
        if (both >> 4U > 9 || (both & 0xFU) > 9) return std::nullopt;
        value = 100 * value + 10 * (both >> 4U) + (both & 0xFU);
    }
    return value;
}

std::optional<std::int64_t> calendar_day(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    using namespace std::chrono;
    const auto year_number = read_decimal(bytes.first(2));
    const auto high = read_decimal(bytes.subspan(2, 1));
    const auto low = read_decimal(bytes.subspan(3, 1));
    if (!year_number || !high || !low || *year_number == 0) return std::nullopt;
    const year year{static_cast<int>(*year_number)};
    if (code.is_day_of_year) {
        const std::uint64_t day = *high * 100 + *low;
        if (*high > 9 || day == 0 || day > (year.is_leap() ? 366U : 365U)) return std::nullopt;
        return sys_days{year / January / 1}.time_since_epoch().count() + static_cast<std::int64_t>(day) - 1;
    }
    const year_month_day date{year, month{static_cast<unsigned>(*high)}, day{static_cast<unsigned>(*low)}};
    if (!date.ok()) return std::nullopt;
    return sys_days{date}.time_since_epoch().count();
}

std::optional<std::int64_t> decode_ccs(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    const auto day = calendar_day(code, bytes);
    const auto hour = read_decimal(bytes.subspan(4, 1));
    const auto minute = read_decimal(bytes.subspan(5, 1));
    const auto second = read_decimal(bytes.subspan(6, 1));
    const auto fraction = read_decimal(bytes.subspan(7, code.fraction_bytes));
    if (!day || !hour || !minute || !second || !fraction || *hour > 23 || *minute > 59) return std::nullopt;
    if (*second > 59 && (*second > 60 || *hour != 23 || *minute != 59)) return std::nullopt;
    std::uint64_t units_per_s = 1;
    for (unsigned i = 0; i < code.fraction_bytes; ++i) units_per_s *= 100;
    const Wide fraction_ns = (Wide{*fraction} * kNsInS + units_per_s / 2) / units_per_s;
    return tai_of_day(code, *day, (*hour * 60 + *minute) * 60 + *second, static_cast<std::uint64_t>(fraction_ns));
}

bool same_shape(const TimeCode& a, const TimeCode& b) noexcept {
    if (a.kind != b.kind) return false;
    switch (a.kind) {
    case TimeCode::Kind::counter: break;
    case TimeCode::Kind::cuc: return a.coarse_bytes == b.coarse_bytes && a.fine_bytes == b.fine_bytes;
    case TimeCode::Kind::cds: return a.day_bytes == b.day_bytes && a.submillisecond_bytes == b.submillisecond_bytes;
    case TimeCode::Kind::ccs: return a.is_day_of_year == b.is_day_of_year && a.fraction_bytes == b.fraction_bytes;
    }
    return false;
}

} // namespace

unsigned TimeCode::bytes() const noexcept {
    switch (kind) {
    case Kind::counter:
    case Kind::cuc: return p_field_bytes + coarse_bytes + fine_bytes;
    case Kind::cds: return p_field_bytes + day_bytes + 4 + submillisecond_bytes;
    case Kind::ccs: break;
    }
    return p_field_bytes + 7 + fraction_bytes;
}

double TimeCode::rollover_ns() const noexcept {
    const auto turn = [](unsigned size) { return std::ldexp(1.0, static_cast<int>(8 * size)); };
    switch (kind) {
    case Kind::counter:
        return coarse_bytes > 0 ? 1e9 * turn(coarse_bytes) : turn(fine_bytes) * (1e9 / static_cast<double>(fine_hz));
    case Kind::cuc: return 1e9 * turn(coarse_bytes);
    case Kind::cds: return 1e9 * static_cast<double>(kSecondsPerDay) * turn(day_bytes);
    case Kind::ccs: break;
    }
    return std::numeric_limits<double>::infinity();
}

std::optional<std::int64_t> decode_time_ns(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    if (bytes.size() < code.bytes()) return std::nullopt;
    if (code.p_field_bytes > 0) {
        const auto said = read_p_field(bytes);
        if (!said || said->p_field_bytes != code.p_field_bytes || !same_shape(*said, code)) return std::nullopt;
        bytes = bytes.subspan(code.p_field_bytes);
    }
    switch (code.kind) {
    case TimeCode::Kind::counter: return decode_counter(code, bytes);
    case TimeCode::Kind::cuc: return decode_cuc(code, bytes);
    case TimeCode::Kind::cds: return decode_cds(code, bytes);
    case TimeCode::Kind::ccs: break;
    }
    return decode_ccs(code, bytes);
}

std::optional<std::int64_t> utc_ns_of(const TimeCode& code, std::int64_t time_ns) noexcept {
    if (code.kind == TimeCode::Kind::cds || code.kind == TimeCode::Kind::ccs) return utc_ns_from_tai_ns(time_ns);
    if (!code.epoch_utc_ns) return std::nullopt;
    const std::int64_t epoch_ns =
        code.scale == TimeScale::utc ? *code.epoch_utc_ns : tai_ns_from_utc_ns(*code.epoch_utc_ns);
    std::int64_t sum_ns = 0;
    if (__builtin_add_overflow(epoch_ns, time_ns, &sum_ns)) return std::nullopt;
    return code.scale == TimeScale::utc ? sum_ns : utc_ns_from_tai_ns(sum_ns);
}

std::array<std::byte, kTimeCodeBytesMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept {
    const unsigned fine_bits = 8 * code.fine_bytes;
    Wide coarse = ns / kNsInS;
    Wide fine = 0;
    if (code.kind == TimeCode::Kind::cuc) {
        const Wide all = (coarse << fine_bits) + ((Wide{ns % kNsInS} << fine_bits) + kNsInS / 2) / kNsInS;
        coarse = all >> fine_bits;
        fine = all;
    } else {
        const Wide ticks = (Wide{ns} * code.fine_hz + kNsInS / 2) / kNsInS;
        coarse = ticks / code.fine_hz;
        fine = code.coarse_bytes > 0 ? ticks % code.fine_hz : ticks;
    }
    std::array<std::byte, kTimeCodeBytesMax> bytes{};
    const auto write = [&](std::size_t at, unsigned size, Wide value) {
        for (std::size_t i = 0; i < size; ++i, value >>= 8U)
            bytes.at(at + (code.is_little ? i : size - 1 - i)) =
                static_cast<std::byte>(static_cast<unsigned>(value) & 0xFFU);
    };
    write(code.p_field_bytes, code.coarse_bytes, coarse);
    write(code.p_field_bytes + code.coarse_bytes, code.fine_bytes, fine);
    return bytes;
}

std::optional<TimeCode> read_p_field(std::span<const std::byte> bytes) noexcept {
    if (bytes.empty()) return std::nullopt;
    const auto first = std::to_integer<unsigned>(bytes[0]);
    const bool is_extended = (first & 0x80U) != 0;
    const unsigned identification = first >> 4U & 7U;
    TimeCode code;
    code.p_field_bytes = 1;
    if (identification == 1 || identification == 2) {
        code.kind = TimeCode::Kind::cuc;
        code.coarse_bytes = (first >> 2U & 3U) + 1;
        code.fine_bytes = first & 3U;
        if (identification == 1) code.epoch_utc_ns = kEpoch1958_ns;
        if (!is_extended) return code;
        if (bytes.size() < 2) return std::nullopt;
        const auto second = std::to_integer<unsigned>(bytes[1]);
        if ((second & 0x80U) != 0) return std::nullopt; // a third byte is not defined
        code.coarse_bytes += second >> 5U & 3U;
        code.fine_bytes += second >> 2U & 7U;
        code.p_field_bytes = 2;
        return code;
    }
    if (is_extended) return std::nullopt;
    code.scale = TimeScale::utc;
    if (identification == 4) {
        code.kind = TimeCode::Kind::cds;
        code.day_bytes = (first & 4U) != 0 ? 3 : 2;
        if ((first & 8U) == 0) code.epoch_utc_ns = kEpoch1958_ns;
        if ((first & 3U) == 3) return std::nullopt;
        code.submillisecond_bytes = (first & 3U) * 2;
        return code;
    }
    if (identification == 5) {
        code.kind = TimeCode::Kind::ccs;
        code.is_day_of_year = (first & 8U) != 0;
        code.fraction_bytes = first & 7U;
        code.epoch_utc_ns = kEpoch1958_ns;
        if (code.fraction_bytes > 6) return std::nullopt;
        return code;
    }
    return std::nullopt;
}

} // namespace turnstone
