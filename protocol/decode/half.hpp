#pragma once
/// IEEE 754-2008 binary16 to double; exact.
#include <bit>
#include <cstdint>

namespace turnstone {

[[nodiscard]] constexpr double half_to_double(std::uint16_t half) noexcept {
    const std::uint64_t sign = std::uint64_t{half & 0x8000U} << 48U;
    const unsigned exponent = (half >> 10U) & 0x1FU;
    const std::uint64_t fraction = half & 0x3FFU;
    if (exponent == 0x1F) // infinity and NaN keep the fraction, so that a NaN stays one
        return std::bit_cast<double>(sign | 0x7FF0000000000000ULL | fraction << 42U);
    if (exponent == 0) {
        const double magnitude = static_cast<double>(fraction) * 0x1p-24; // zero and subnormals
        return sign != 0 ? -magnitude : magnitude;
    }
    return std::bit_cast<double>(sign | std::uint64_t{exponent + 1023 - 15} << 52U | fraction << 42U);
}

} // namespace turnstone
