#include "protocol/packet/decode_plan.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

#include "protocol/packet/half.hpp"

#if defined(__x86_64__)
#include <immintrin.h>
#endif

namespace turnstone {
namespace {

static_assert(std::endian::native == std::endian::little, "the loads below swap octets for a little-endian machine");

using Convert = OtherStep::Convert;
using Load = QuadStep::Load;

std::uint64_t load_word(const std::byte* at) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, sizeof word);
    return word;
}

#if defined(__x86_64__)

/// Four raw values in SSE2 vectors, which every x86-64 has. Left to itself the compiler takes the comparisons apart.
struct Quad {
    __m128d low;
    __m128d high;
};

Quad make_raw(double a, double b, double c, double d) {
    return {_mm_setr_pd(a, b), _mm_setr_pd(c, d)};
}

/// Four big-endian 16-bit integers, the first in the lowest octets of `octets`.
template <bool is_signed>
Quad words(std::uint64_t octets) {
    const __m128i raw = _mm_cvtsi64_si128(static_cast<long long>(octets));
    const __m128i swapped = _mm_or_si128(_mm_slli_epi16(raw, 8), _mm_srli_epi16(raw, 8));
    const __m128i wide = is_signed ? _mm_srai_epi32(_mm_unpacklo_epi16(swapped, swapped), 16)
                                   : _mm_unpacklo_epi16(swapped, _mm_setzero_si128());
    return {_mm_cvtepi32_pd(wide), _mm_cvtepi32_pd(_mm_unpackhi_epi64(wide, wide))};
}

/// Collects whether any value lay outside its range.
using Outside = __m128d;

Outside none_outside() {
    return _mm_setzero_pd();
}

bool is_any(Outside outside) {
    return _mm_movemask_pd(outside) != 0;
}

void scale(const QuadStep& step, const Quad& raw, double* out, Outside& outside) {
    // A value that its range does not change lies inside. No number compares unequal too; marks_of() sorts that out.
    const auto half = [&](std::size_t lane, __m128d value) {
        value = _mm_add_pd(_mm_load_pd(&step.offset[lane]), _mm_mul_pd(_mm_load_pd(&step.gain[lane]), value));
        _mm_storeu_pd(out + lane, value);
        const __m128d inside =
            _mm_min_pd(_mm_max_pd(value, _mm_load_pd(&step.least[lane])), _mm_load_pd(&step.greatest[lane]));
        outside = _mm_or_pd(outside, _mm_cmpneq_pd(inside, value));
    };
    half(0, raw.low);
    half(2, raw.high);
}

#else

using Quad = std::array<double, kQuadLanes>;

Quad make_raw(double a, double b, double c, double d) {
    return {a, b, c, d};
}

template <bool is_signed>
Quad words(std::uint64_t octets) {
    Quad raw;
    for (std::size_t lane = 0; lane < kQuadLanes; ++lane) {
        const std::uint16_t word = __builtin_bswap16(static_cast<std::uint16_t>(octets >> 16U * lane));
        raw[lane] = is_signed ? static_cast<double>(static_cast<std::int16_t>(word)) : static_cast<double>(word);
    }
    return raw;
}

using Outside = bool;

Outside none_outside() {
    return false;
}

bool is_any(Outside outside) {
    return outside;
}

void scale(const QuadStep& step, const Quad& raw, double* out, Outside& outside) {
    for (std::size_t lane = 0; lane < kQuadLanes; ++lane) {
        out[lane] = step.offset[lane] + step.gain[lane] * raw[lane];
        outside |= out[lane] < step.least[lane] || out[lane] > step.greatest[lane];
    }
}

#endif

double integer(const IntegerStep& step, const std::byte* base) {
    const std::uint64_t raw = (__builtin_bswap64(load_word(base + step.octet)) >> step.right) & step.mask;
    return static_cast<double>(static_cast<std::int64_t>((raw ^ step.sign) - step.sign));
}

/// The field's bits at the top of a word, octet by octet: it may be nine octets long, or end with the packet.
std::uint64_t gather(const OtherStep& step, const std::byte* at) {
    std::uint64_t word = 0;
    if (step.little) {
        for (unsigned i = step.width / 8U; i-- > 0;) word = word << 8U | std::to_integer<std::uint64_t>(at[i]);
        return word << (64U - step.width);
    }
    const unsigned end = step.skip + step.width;
    for (unsigned i = 0; 8 * i < end && i < 8; ++i) word |= std::to_integer<std::uint64_t>(at[i]) << (56U - 8U * i);
    word <<= step.skip;
    return end > 64 ? word | std::to_integer<std::uint64_t>(at[8]) >> (8U - (end - 64U)) << (64U - step.width) : word;
}

double convert(const OtherStep& step, std::uint64_t top) {
    const unsigned shift = 64U - step.width;
    switch (step.convert) {
    case Convert::unsigned_integer: return static_cast<double>(top >> shift);
    case Convert::signed_integer: return static_cast<double>(static_cast<std::int64_t>(top) >> shift);
    case Convert::half: return half_to_double(static_cast<std::uint16_t>(top >> 48U));
    case Convert::single: return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(top >> 32U)));
    case Convert::real: break;
    }
    return std::bit_cast<double>(top);
}

double at_polynomial(const PolynomialCalibration& polynomial, double raw) {
    double sum = 0.0;
    for (std::size_t i = polynomial.coefficients.size(); i-- > 0;) sum = sum * raw + polynomial.coefficients[i];
    return sum;
}

double at_table(const TableCalibration& table, double raw) {
    const auto above = std::upper_bound(table.raw.begin() + 1, table.raw.end() - 1, raw);
    const auto i = static_cast<std::size_t>(above - table.raw.begin());
    const double slope = (table.engineering[i] - table.engineering[i - 1]) / (table.raw[i] - table.raw[i - 1]);
    return table.engineering[i - 1] + slope * (raw - table.raw[i - 1]);
}

double at_curve(const Calibration& calibration, double raw) {
    if (const auto* polynomial = std::get_if<PolynomialCalibration>(&calibration))
        return at_polynomial(*polynomial, raw);
    return at_table(*std::get_if<TableCalibration>(&calibration), raw);
}

/// Called only for rows in which some value is out of range, which is rare.
std::uint64_t marks_of(const RowPlan& row, const double* values) {
    std::uint64_t marks = 0;
    for (std::size_t channel = 0; channel < std::min<std::size_t>(row.number_count, 64); ++channel) {
        const QuadStep& quad = row.quads[channel / kQuadLanes];
        const std::size_t lane = channel % kQuadLanes;
        if (values[channel] < quad.least[lane] || values[channel] > quad.greatest[lane]) marks |= 1ULL << channel;
    }
    return marks;
}

void prepare(const RowPlan& row, const std::byte* base, double* values) {
    for (const OtherStep& step : row.others) values[step.channel] = convert(step, gather(step, base + step.octet));
    for (const CurveStep& step : row.curves) values[step.channel] = at_curve(*step.calibration, values[step.channel]);
}

void drop_infinities(double* values, std::size_t count) {
    for (std::size_t i = 0; i < count; ++i)
        if (!std::isfinite(values[i])) values[i] = std::numeric_limits<double>::quiet_NaN();
}

inline Quad load(const QuadStep& step, const std::byte* base, const double* prepared) {
    switch (step.load) {
    case Load::signed_words: return words<true>(load_word(base + step.integers[0].octet) >> step.integers[0].right);
    case Load::unsigned_words: return words<false>(load_word(base + step.integers[0].octet) >> step.integers[0].right);
    case Load::integers:
        return make_raw(integer(step.integers[0], base), integer(step.integers[1], base),
                        integer(step.integers[2], base), integer(step.integers[3], base));
    case Load::prepared: break;
    }
    return make_raw(prepared[0], prepared[1], prepared[2], prepared[3]);
}

#if defined(__x86_64__)

/// The same, all four lanes in one vector: half the work on processors of the last decade. No multiply-add is used, so
/// that both ways give the same bits.
__attribute__((target("avx2"))) void decode_avx2(const RowPlan& row, const RowSeries& series, double* values,
                                                 std::uint64_t* marks) noexcept {
    const __m128i swap = _mm_setr_epi8(1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14);
    const QuadStep* const begin = row.quads.data();
    const QuadStep* const end = begin + row.quads.size();
    const std::byte* base = series.base;
    for (std::size_t k = 0; k < series.count; ++k, base += series.stride) {
        if (!row.others.empty()) [[unlikely]]
            prepare(row, base, values);
        __m256d outside = _mm256_setzero_pd();
        double* out = values;
        for (const QuadStep* step = begin; step != end; ++step, out += kQuadLanes) {
            __m256d value;
            if (step->load == Load::signed_words || step->load == Load::unsigned_words) {
                const std::uint64_t octets = load_word(base + step->integers[0].octet) >> step->integers[0].right;
                const __m128i raw = _mm_shuffle_epi8(_mm_cvtsi64_si128(static_cast<long long>(octets)), swap);
                value = _mm256_cvtepi32_pd(step->load == Load::signed_words ? _mm_cvtepi16_epi32(raw)
                                                                            : _mm_cvtepu16_epi32(raw));
            } else if (step->load == Load::integers) {
                value = _mm256_setr_pd(integer(step->integers[0], base), integer(step->integers[1], base),
                                       integer(step->integers[2], base), integer(step->integers[3], base));
            } else {
                value = _mm256_loadu_pd(out);
            }
            value = _mm256_add_pd(_mm256_load_pd(step->offset.data()),
                                  _mm256_mul_pd(_mm256_load_pd(step->gain.data()), value));
            _mm256_storeu_pd(out, value);
            const __m256d inside = _mm256_min_pd(_mm256_max_pd(value, _mm256_load_pd(step->least.data())),
                                                 _mm256_load_pd(step->greatest.data()));
            outside = _mm256_or_pd(outside, _mm256_cmp_pd(inside, value, _CMP_NEQ_UQ));
        }
        marks[k] = _mm256_movemask_pd(outside) != 0 ? marks_of(row, values) : 0;
        if (row.may_overflow) [[unlikely]]
            drop_infinities(values, row.number_count);
        values = out;
    }
}

const bool kHasAvx2 = [] {
    __builtin_cpu_init();
    return __builtin_cpu_supports("avx2") != 0;
}();

#endif

} // namespace

void decode_numbers(const RowPlan& row, const RowSeries& series, double* values, std::uint64_t* marks) noexcept {
#if defined(__x86_64__)
    if (kHasAvx2) return decode_avx2(row, series, values, marks);
#endif
    decode_numbers_portable(row, series, values, marks);
}

void decode_numbers_portable(const RowPlan& row, const RowSeries& series, double* values,
                             std::uint64_t* marks) noexcept {
    const QuadStep* const begin = row.quads.data();
    const QuadStep* const end = begin + row.quads.size();
    const std::byte* base = series.base;
    for (std::size_t k = 0; k < series.count; ++k, base += series.stride) {
        if (!row.others.empty()) [[unlikely]]
            prepare(row, base, values);
        Outside outside = none_outside();
        double* out = values;
        for (const QuadStep* step = begin; step != end; ++step, out += kQuadLanes)
            scale(*step, load(*step, base, out), out, outside);
        marks[k] = is_any(outside) ? marks_of(row, values) : 0;
        if (row.may_overflow) [[unlikely]]
            drop_infinities(values, row.number_count);
        values = out;
    }
}

} // namespace turnstone
