#include "protocol/decode/decode_numbers.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <variant>

#include "protocol/decode/half.hpp"
#include "shared/constants.hpp"

namespace turnstone {
namespace {

/// The field's bits at the top of a word. Byte by byte: a field may span nine bytes, or end with the packet.
std::uint64_t gather(const NumberStep& step, const std::byte* at) {
    std::uint64_t word = 0;
    if (step.is_little) {
        for (unsigned i = step.width / 8U; i-- > 0;) word = word << 8U | std::to_integer<std::uint64_t>(at[i]);
        return word << (64U - step.width);
    }
    const unsigned end = step.skip + step.width;
    for (unsigned i = 0; 8 * i < end && i < 8; ++i) word |= std::to_integer<std::uint64_t>(at[i]) << (56U - 8U * i);
    word <<= step.skip;
    return end > 64 ? word | std::to_integer<std::uint64_t>(at[8]) >> (8U - (end - 64U)) << (64U - step.width) : word;
}

double raw_value(const NumberStep& step, std::uint64_t top) {
    using Raw = NumberStep::Raw;
    const unsigned shift = 64U - step.width;
    switch (step.raw) {
    case Raw::unsigned_integer: return static_cast<double>(top >> shift);
    case Raw::signed_integer: return static_cast<double>(static_cast<std::int64_t>(top) >> shift);
    case Raw::half: return half_to_double(static_cast<std::uint16_t>(top >> 48U));
    case Raw::single: return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(top >> 32U)));
    case Raw::real: break;
    }
    return std::bit_cast<double>(top);
}

/// LINK.md, section "From raw to engineering values".
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

double decode_number(const NumberStep& step, const std::byte* base) noexcept {
    return std::visit(Calibrate{raw_value(step, gather(step, base + step.byte))}, *step.calibration);
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
