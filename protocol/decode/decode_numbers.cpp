#include "protocol/decode/decode_numbers.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <variant>

#include "protocol/decode/half.hpp"
#include "shared/constants.hpp"

namespace turnstone {
namespace {

__extension__ using Wide = unsigned __int128;
using Raw = NumberStep::Raw;

/// Bits counted from the least significant of each byte: one little-endian number that the field is a part of.
std::uint64_t gather_lsb_first(const NumberStep& step, const std::byte* at) {
    Wide word = 0;
    const unsigned bytes = (step.skip + step.width + 7U) / 8U;
    for (unsigned i = bytes; i-- > 0;) word = word << 8U | std::to_integer<unsigned>(at[i]);
    return static_cast<std::uint64_t>(word >> step.skip) << (64U - step.width);
}

/// The field's bits at the top of a word. Byte by byte: a field may span nine bytes, or end with the packet.
std::uint64_t gather(const NumberStep& step, const std::byte* at) {
    std::uint64_t word = 0;
    if (step.is_lsb_first) return gather_lsb_first(step, at);
    if (step.is_little) {
        for (unsigned i = step.width / 8U; i-- > 0;) word = word << 8U | std::to_integer<std::uint64_t>(at[i]);
        return word << (64U - step.width);
    }
    const unsigned end = step.skip + step.width;
    for (unsigned i = 0; 8 * i < end && i < 8; ++i) word |= std::to_integer<std::uint64_t>(at[i]) << (56U - 8U * i);
    word <<= step.skip;
    return end > 64 ? word | std::to_integer<std::uint64_t>(at[8]) >> (8U - (end - 64U)) << (64U - step.width) : word;
}

/// Sign and magnitude of an integer; empty: a half of a byte that is not a decimal digit.
struct Integer {
    bool is_negative;
    std::uint64_t magnitude;
};
std::optional<Integer> integer_of(const NumberStep& step, std::uint64_t top) {
    const std::uint64_t bits = top >> (64U - step.width);
    const bool is_first_set = top >> 63U != 0;
    const std::uint64_t first = 1ULL << (step.width - 1U);
    const auto from_signed = [](std::int64_t value) {
        return Integer{value < 0,
                       value < 0 ? 0 - static_cast<std::uint64_t>(value) : static_cast<std::uint64_t>(value)};
    };
    switch (step.raw) {
    case Raw::signed_integer: return from_signed(static_cast<std::int64_t>(top) >> (64U - step.width));
    case Raw::sign_magnitude: return Integer{is_first_set, bits & (first - 1)};
    case Raw::ones_complement: return Integer{is_first_set, is_first_set ? ~bits & (first - 1) : bits};
    case Raw::offset_binary: return Integer{bits < first, bits < first ? first - bits : bits - first};
    case Raw::bcd: {
        std::uint64_t value = 0;
        for (unsigned shift = step.width; shift > 0; shift -= 4) {
            const std::uint64_t digit = bits >> (shift - 4U) & 0xFU;
            if (digit > 9) return std::nullopt;
            value = 10 * value + digit;
        }
        return Integer{false, value};
    }
    default: return Integer{false, bits};
    }
}

/// MIL-STD-1750A, 4.1.4 and 4.1.5: a fraction in two's complement times two to the power of an exponent of 8 bits,
/// which stands behind the fraction's first 24 bits. A long one's fraction goes on after the exponent.
double mil_std_1750a_value(const NumberStep& step, std::uint64_t top) {
    const auto exponent = static_cast<std::int8_t>(top >> 32U & 0xFFU);
    const std::uint64_t more = step.width == 48 ? (top >> 16U & 0xFFFFU) << 24U : 0;
    const auto fraction = static_cast<std::int64_t>((top & 0xFFFFFF0000000000ULL) | more);
    return std::ldexp(static_cast<double>(fraction), exponent - 63);
}

/// Seconds of UTC since 1970 where the code has an epoch, else since the clock's zero.
double time_value(const TimeCode& code, const std::byte* at) {
    const auto time_ns = decode_time_ns(code, {at, code.bytes()});
    if (!time_ns) return kNaN;
    const std::int64_t ns = utc_ns_of(code, *time_ns).value_or(*time_ns);
    const std::int64_t whole_s = ns / 1'000'000'000;
    return static_cast<double>(whole_s) + static_cast<double>(ns - whole_s * 1'000'000'000) * 1e-9;
}

double raw_value(const NumberStep& step, std::uint64_t top) {
    const unsigned shift = 64U - step.width;
    switch (step.raw) {
    case Raw::unsigned_integer: return static_cast<double>(top >> shift);
    case Raw::signed_integer: return static_cast<double>(static_cast<std::int64_t>(top) >> shift);
    case Raw::half: return half_to_double(static_cast<std::uint16_t>(top >> 48U));
    case Raw::single: return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(top >> 32U)));
    case Raw::real: return std::bit_cast<double>(top);
    case Raw::mil_std_1750a: return mil_std_1750a_value(step, top);
    case Raw::sign_magnitude:
    case Raw::ones_complement:
    case Raw::offset_binary:
    case Raw::bcd:
    case Raw::time: break;
    }
    const auto integer = integer_of(step, top);
    if (!integer) return kNaN;
    const auto magnitude = static_cast<double>(integer->magnitude);
    return integer->is_negative ? -magnitude : magnitude;
}

/// DICTIONARY.md, section "From raw to engineering values".
struct Calibrate {
    double raw;
    double operator()(std::monostate) const { return raw; }
    double operator()(const LinearCalibration& linear) const { return linear.offset + linear.gain * raw; }
    double operator()(const PolynomialCalibration& polynomial) const {
        double sum = 0.0;
        for (std::size_t i = polynomial.coefficients.size(); i-- > 0;) sum = sum * raw + polynomial.coefficients[i];
        return sum;
    }
    double operator()(const TableCalibration& table) const {
        const auto above = std::upper_bound(table.raw.begin() + 1, table.raw.end() - 1, raw);
        const auto i = static_cast<std::size_t>(above - table.raw.begin());
        const double slope = (table.engineering[i] - table.engineering[i - 1]) / (table.raw[i] - table.raw[i - 1]);
        return table.engineering[i - 1] + slope * (raw - table.raw[i - 1]);
    }
};

} // namespace

double raw_number(const NumberStep& step, const std::byte* base) noexcept {
    if (step.raw == Raw::time) return time_value(*step.time, base + step.byte);
    return raw_value(step, gather(step, base + step.byte));
}

std::optional<std::int64_t> raw_integer(const NumberStep& step, const std::byte* base) noexcept {
    constexpr auto kMost = static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max());
    const auto integer = integer_of(step, gather(step, base + step.byte));
    if (!integer) return std::nullopt;
    if (!integer->is_negative) return static_cast<std::int64_t>(std::min(integer->magnitude, kMost));
    return static_cast<std::int64_t>(0 - integer->magnitude);
}

double calibrated(const Calibration& calibration, double raw) noexcept {
    return std::visit(Calibrate{raw}, calibration);
}

double decode_number(const NumberStep& step, const std::byte* base) noexcept {
    return calibrated(*step.calibration, raw_number(step, base));
}

std::uint64_t out_of_range(std::span<const NumberStep> row, const double* values) noexcept {
    std::uint64_t marks = 0;
    for (std::size_t channel = 0; channel < std::min<std::size_t>(row.size(), 64); ++channel)
        if (values[channel] < row[channel].least || values[channel] > row[channel].greatest) marks |= 1ULL << channel;
    return marks;
}

void decode_numbers(std::span<const NumberStep> row, const RowSeries& series, double* values,
                    std::uint64_t* marks) noexcept {
    const std::byte* base = series.base;
    for (std::size_t k = 0; k < series.count; ++k, base += series.stride, values += row.size()) {
        for (std::size_t channel = 0; channel < row.size(); ++channel)
            values[channel] = decode_number(row[channel], base);
        marks[k] = out_of_range(row, values);
        for (std::size_t channel = 0; channel < row.size(); ++channel)
            if (!std::isfinite(values[channel])) values[channel] = kNaN;
    }
}

} // namespace turnstone
