// Why folding: importing an on-board log or replaying a recording must decode at least 1 million packets a second, and
// crc16_plain() takes longer than everything else the parser does (`tools/bench decode`). A 57,600 baud link brings
// about 90 frames a second and would not need this file.
//
// Source: V. Gopal et al., "Fast CRC Computation for Generic Polynomials Using PCLMULQDQ Instruction", 2009.
#include "protocol/framing/crc16_folded.hpp"

#include "protocol/framing/crc16.hpp"

#if defined(__x86_64__)

#include <array>

#include <immintrin.h>

#define TURNSTONE_FOLD __attribute__((target("pclmul,ssse3,sse4.1")))

namespace turnstone {
namespace {

constexpr std::uint16_t power_of_x(unsigned exponent) {
    return crc16_shift(1, exponent);
}

constexpr std::uint64_t kDivisor = 0x10000U | kCrc16Polynomial;

/// x^64 divided by the polynomial, for Barrett's reduction.
constexpr std::uint64_t kQuotient = [] {
    std::uint64_t quotient = 0;
    std::uint64_t rest = 0;
    for (unsigned bit = 65; bit-- > 0;) {
        rest = rest << 1U | (bit == 64 ? 1U : 0U);
        if ((rest & 0x10000U) == 0) continue;
        rest ^= kDivisor;
        quotient |= 1ULL << bit;
    }
    return quotient;
}();

/// A shuffle that begins at entry 16 - k moves everything k bytes towards the end and fills with zeros: an index with
/// the top bit set gives zero.
alignas(16) constexpr std::array<unsigned char, 32> kSlide = {
    0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80,
    0,    1,    2,    3,    4,    5,    6,    7,    8,    9,    10,   11,   12,   13,   14,   15};

TURNSTONE_FOLD inline __m128i load(const void* at) {
    return _mm_loadu_si128(static_cast<const __m128i*>(at));
}

TURNSTONE_FOLD inline __m128i vector_of(std::uint64_t value) {
    return _mm_cvtsi64_si128(static_cast<long long>(value));
}

TURNSTONE_FOLD inline std::uint64_t low_word(__m128i value) {
    return static_cast<std::uint64_t>(_mm_cvtsi128_si64(value));
}

TURNSTONE_FOLD inline __m128i multiply(__m128i a, std::uint64_t b) {
    return _mm_clmulepi64_si128(a, vector_of(b), 0x00);
}

/// 128 bits times x^16, modulo the polynomial.
TURNSTONE_FOLD std::uint16_t reduce(__m128i sum) {
    const __m128i high = _mm_srli_si128(sum, 8);
    const __m128i low = _mm_slli_si128(_mm_move_epi64(sum), 2);
    const __m128i bits80 = _mm_xor_si128(multiply(high, power_of_x(80)), low);
    const std::uint64_t bits64 = low_word(bits80) ^ low_word(multiply(_mm_srli_si128(bits80, 8), power_of_x(64)));
    const std::uint64_t quotient = low_word(_mm_srli_si128(multiply(vector_of(bits64 >> 16U), kQuotient), 6));
    return static_cast<std::uint16_t>(bits64 ^ low_word(multiply(vector_of(quotient), kDivisor)));
}

} // namespace

bool can_fold_crc16() noexcept {
    __builtin_cpu_init();
    return __builtin_cpu_supports("pclmul") && __builtin_cpu_supports("ssse3") && __builtin_cpu_supports("sse4.1");
}

/// 16 bytes at a time. Bytes that do not fill a block go first, with zeros before them: leading zeros do not change a
/// register of zero.
TURNSTONE_FOLD std::uint16_t crc16_folded(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    if (bytes.size() % 16 == 1) { // a lone byte cannot take in both bytes of the register
        crc = crc16_plain(bytes.first(1), crc);
        bytes = bytes.subspan(1);
    }
    const __m128i reverse = _mm_set_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
    const __m128i fold = _mm_set_epi64x(power_of_x(192), power_of_x(128));
    const auto swapped_crc = static_cast<std::uint16_t>((crc << 8U) | (crc >> 8U));
    __m128i first = _mm_xor_si128(load(bytes.data()), _mm_cvtsi32_si128(swapped_crc));
    const std::size_t head = bytes.size() % 16;
    if (head != 0) first = _mm_shuffle_epi8(first, load(kSlide.data() + head));
    __m128i sum = _mm_shuffle_epi8(first, reverse);
    const std::byte* at = bytes.data() + (head != 0 ? head : 16);
    for (const std::byte* const end = bytes.data() + bytes.size(); at != end; at += 16) {
        const __m128i high = _mm_clmulepi64_si128(sum, fold, 0x11);
        const __m128i low = _mm_clmulepi64_si128(sum, fold, 0x00);
        sum = _mm_xor_si128(_mm_xor_si128(high, low), _mm_shuffle_epi8(load(at), reverse));
    }
    return reduce(sum);
}

} // namespace turnstone

#else

namespace turnstone {

bool can_fold_crc16() noexcept {
    return false;
}

std::uint16_t crc16_folded(std::span<const std::byte> bytes, std::uint16_t crc) noexcept {
    return crc16_plain(bytes, crc);
}

} // namespace turnstone

#endif
