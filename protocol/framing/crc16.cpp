#include "protocol/framing/crc16.hpp"

#include <array>

#if defined(__x86_64__)
#include <immintrin.h>
#endif

namespace turnstone {
namespace {

constexpr std::uint16_t kPolynomial = 0x1021;

constexpr std::uint16_t shift_in_bits(std::uint16_t crc, unsigned bits) {
    for (unsigned bit = 0; bit < bits; ++bit) {
        const bool carry = (crc & 0x8000U) != 0;
        crc = static_cast<std::uint16_t>(crc << 1U);
        if (carry) crc ^= kPolynomial;
    }
    return crc;
}

using SliceTables = std::array<std::array<std::uint16_t, 256>, 8>;

/// tables[k][v]: the register after octet v and then k zero octets.
constexpr SliceTables make_slice_tables() {
    SliceTables tables{};
    for (unsigned value = 0; value < 256; ++value) {
        tables[0][value] = shift_in_bits(static_cast<std::uint16_t>(value << 8U), 8);
        for (std::size_t k = 1; k < tables.size(); ++k) tables[k][value] = shift_in_bits(tables[k - 1][value], 8);
    }
    return tables;
}

constexpr SliceTables kTables = make_slice_tables();

constexpr unsigned octet(std::byte value) {
    return std::to_integer<unsigned>(value);
}

std::uint16_t step(std::uint16_t crc, std::byte value) {
    return static_cast<std::uint16_t>((crc << 8U) ^ kTables[0][(crc >> 8U) ^ octet(value)]);
}

#if defined(__x86_64__)

/// x^exponent modulo the polynomial.
constexpr std::uint16_t power_of_x(unsigned exponent) {
    return shift_in_bits(1, exponent);
}

/// Slides a register's octets: entry 16 + k of a shuffle starting at k moves everything k octets towards the end and
/// fills with zeros (shuffle indices with the top bit set give zero).
alignas(16) constexpr std::array<unsigned char, 32> kSlide = {
    0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80,
    0,    1,    2,    3,    4,    5,    6,    7,    8,    9,    10,   11,   12,   13,   14,   15};

__attribute__((target("pclmul,ssse3,sse4.1"))) inline __m128i load(const void* at) {
    return _mm_loadu_si128(static_cast<const __m128i*>(at));
}

/// Folds 16 octets at a time with carry-less multiplication (V. Gopal et al., "Fast CRC Computation for Generic
/// Polynomials Using PCLMULQDQ Instruction", 2009), then reduces the last 16 octets with the tables. Octets that do not
/// fill a block go first, with zeros before them: leading zeros do not change a register of zero.
__attribute__((target("pclmul,ssse3,sse4.1"))) std::uint16_t crc16_folded(std::span<const std::byte> bytes,
                                                                          std::uint16_t crc) noexcept {
    const std::byte* at = bytes.data();
    std::size_t left = bytes.size();
    if (left % 16 == 1) { // a lone octet cannot take both octets of the register in
        crc = step(crc, *at);
        ++at;
        --left;
    }
    const __m128i reverse = _mm_set_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
    const __m128i fold = _mm_set_epi64x(power_of_x(192), power_of_x(128));
    const auto swapped_crc = static_cast<std::uint16_t>((crc << 8U) | (crc >> 8U));
    __m128i first = _mm_xor_si128(load(at), _mm_cvtsi32_si128(swapped_crc));
    const std::size_t head = left % 16;
    if (head != 0) {
        first = _mm_shuffle_epi8(first, load(kSlide.data() + head));
        at += head;
        left -= head;
    } else {
        at += 16;
        left -= 16;
    }
    __m128i sum = _mm_shuffle_epi8(first, reverse);
    for (; left != 0; left -= 16, at += 16) {
        const __m128i high = _mm_clmulepi64_si128(sum, fold, 0x11);
        const __m128i low = _mm_clmulepi64_si128(sum, fold, 0x00);
        sum = _mm_xor_si128(_mm_xor_si128(high, low), _mm_shuffle_epi8(load(at), reverse));
    }
    alignas(16) std::array<std::byte, 16> rest;
    _mm_store_si128(reinterpret_cast<__m128i*>(rest.data()), _mm_shuffle_epi8(sum, reverse));
    return crc16_sliced(rest, 0);
}

const bool kCanFold = [] {
    __builtin_cpu_init();
    return __builtin_cpu_supports("pclmul") && __builtin_cpu_supports("ssse3") && __builtin_cpu_supports("sse4.1");
}();

#endif

} // namespace

std::uint16_t crc16_plain(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    for (const std::byte value : bytes) crc = shift_in_bits(static_cast<std::uint16_t>(crc ^ (octet(value) << 8U)), 8);
    return crc;
}

std::uint16_t crc16_sliced(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    const std::byte* at = bytes.data();
    std::size_t left = bytes.size();
    for (; left >= 8; left -= 8, at += 8) {
        crc = static_cast<std::uint16_t>(
            kTables[7][(crc >> 8U) ^ octet(at[0])] ^ kTables[6][(crc & 0xFFU) ^ octet(at[1])] ^
            kTables[5][octet(at[2])] ^ kTables[4][octet(at[3])] ^ kTables[3][octet(at[4])] ^ kTables[2][octet(at[5])] ^
            kTables[1][octet(at[6])] ^ kTables[0][octet(at[7])]);
    }
    for (; left != 0; --left, ++at) crc = step(crc, *at);
    return crc;
}

std::uint16_t crc16(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
#if defined(__x86_64__)
    if (bytes.size() >= 32 && kCanFold) return crc16_folded(bytes, crc);
#endif
    return crc16_sliced(bytes, crc);
}

} // namespace turnstone
