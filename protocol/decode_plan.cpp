#include "protocol/decode_plan.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

#include "protocol/half.hpp"

#if defined(__x86_64__)
#include <emmintrin.h>
#endif

namespace turnstone {
namespace {

static_assert(std::endian::native == std::endian::little, "the loads below swap octets for a little-endian machine");

using Convert = OtherStep::Convert;
using Load = QuadStep::Load;

constexpr std::size_t kLoadOctets = 8;
constexpr double kInfinity = std::numeric_limits<double>::infinity();

std::uint64_t load_word(const std::byte* at) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, sizeof word);
    return word;
}

#if defined(__x86_64__)

/// Four raw values. The vectors are SSE2, which every x86-64 has; left to itself the compiler takes the comparisons apart.
struct Quad {
    __m128d low;
    __m128d high;
};

Quad make_raw(double a, double b, double c, double d) { return {_mm_setr_pd(a, b), _mm_setr_pd(c, d)}; }

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

Outside none_outside() { return _mm_setzero_pd(); }

bool is_any(Outside outside) { return _mm_movemask_pd(outside) != 0; }

void scale(const QuadStep& step, const Quad& raw, double* out, Outside& outside) {
    const auto half = [&](std::size_t lane, __m128d value) {
        value = _mm_add_pd(_mm_load_pd(&step.offset[lane]), _mm_mul_pd(_mm_load_pd(&step.gain[lane]), value));
        _mm_storeu_pd(out + lane, value);
        outside = _mm_or_pd(outside, _mm_or_pd(_mm_cmplt_pd(value, _mm_load_pd(&step.least[lane])),
                                               _mm_cmpgt_pd(value, _mm_load_pd(&step.greatest[lane]))));
    };
    half(0, raw.low);
    half(2, raw.high);
}

#else

using Quad = std::array<double, kLanes>;

Quad make_raw(double a, double b, double c, double d) { return {a, b, c, d}; }

template <bool is_signed>
Quad words(std::uint64_t octets) {
    Quad raw;
    for (std::size_t lane = 0; lane < kLanes; ++lane) {
        const std::uint16_t word = __builtin_bswap16(static_cast<std::uint16_t>(octets >> 16U * lane));
        raw[lane] = is_signed ? static_cast<double>(static_cast<std::int16_t>(word)) : static_cast<double>(word);
    }
    return raw;
}

using Outside = bool;

Outside none_outside() { return false; }

bool is_any(Outside outside) { return outside; }

void scale(const QuadStep& step, const Quad& raw, double* out, Outside& outside) {
    for (std::size_t lane = 0; lane < kLanes; ++lane) {
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
        for (unsigned i = step.width / 8U; i-- > 0;)
            word = word << 8U | std::to_integer<std::uint64_t>(at[i]);
        return word << (64U - step.width);
    }
    const unsigned end = step.skip + step.width;
    for (unsigned i = 0; 8 * i < end && i < 8; ++i)
        word |= std::to_integer<std::uint64_t>(at[i]) << (56U - 8U * i);
    word <<= step.skip;
    return end > 64 ? word | std::to_integer<std::uint64_t>(at[8]) >> (8U - (end - 64U)) << (64U - step.width) : word;
}

double convert(const OtherStep& step, std::uint64_t top) {
    const unsigned shift = 64U - step.width;
    switch (step.convert) {
    case Convert::unsigned_integer:
        return static_cast<double>(top >> shift);
    case Convert::signed_integer:
        return static_cast<double>(static_cast<std::int64_t>(top) >> shift);
    case Convert::half:
        return half_to_double(static_cast<std::uint16_t>(top >> 48U));
    case Convert::single:
        return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(top >> 32U)));
    case Convert::real:
        break;
    }
    return std::bit_cast<double>(top);
}

double at_polynomial(const PolynomialCalibration& polynomial, double raw) {
    double sum = 0.0;
    for (std::size_t i = polynomial.coefficients.size(); i-- > 0;)
        sum = sum * raw + polynomial.coefficients[i];
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
        const QuadStep& quad = row.quads[channel / kLanes];
        const std::size_t lane = channel % kLanes;
        if (values[channel] < quad.least[lane] || values[channel] > quad.greatest[lane])
            marks |= 1ULL << channel;
    }
    return marks;
}

Convert converter(const Field& field) {
    if (field.type == FieldType::unsigned_integer)
        return Convert::unsigned_integer;
    if (field.type == FieldType::signed_integer)
        return Convert::signed_integer;
    return field.bit_width == 16 ? Convert::half : field.bit_width == 32 ? Convert::single : Convert::real;
}

/// A channel while its row is being planned.
struct Element {
    const Field* field;
    std::size_t bit; ///< from the row's bit 0
};

bool is_ordinary(const Element& element) {
    const Field& field = *element.field;
    const bool has_order = field.byte_order == ByteOrder::little;
    const bool is_integer = field.type == FieldType::signed_integer || field.type == FieldType::unsigned_integer;
    const bool fits = element.bit % 8 + field.bit_width <= 64;
    const bool fits_signed = field.type == FieldType::signed_integer || field.bit_width < 64;
    return is_integer && !has_order && fits && fits_signed && field.calibration.index() < 2;
}

IntegerStep integer_step(const Element& element, const RowPlace& place) {
    const std::size_t octet = place.first + element.bit / 8;
    const std::size_t back = octet + kLoadOctets > place.packet ? octet + kLoadOctets - place.packet : 0;
    const std::size_t width = element.field->bit_width;
    IntegerStep step{};
    step.octet = static_cast<std::int32_t>(octet - place.base) - static_cast<std::int32_t>(back);
    step.right = static_cast<std::uint32_t>(64 - element.bit % 8 - width - 8 * back);
    step.mask = width == 64 ? ~0ULL : (1ULL << width) - 1;
    step.sign = element.field->type == FieldType::signed_integer ? 1ULL << (width - 1) : 0;
    return step;
}

/// 16-bit integers side by side, so that one load takes them all.
bool are_words(std::span<const Element> elements) {
    for (std::size_t i = 0; i < elements.size(); ++i) {
        const Element& element = elements[i];
        if (!is_ordinary(element) || element.field->bit_width != 16 || element.bit % 8 != 0 ||
            element.field->type != elements[0].field->type || element.bit != elements[0].bit + 16 * i)
            return false;
    }
    return true;
}

/// `right` of the first integer becomes the shift that brings the first word to the lowest octets.
IntegerStep words_step(const Element& first, const RowPlace& place) {
    const std::size_t octet = place.first + first.bit / 8;
    const std::size_t back = octet + kLoadOctets > place.packet ? octet + kLoadOctets - place.packet : 0;
    IntegerStep step{};
    step.octet = static_cast<std::int32_t>(octet - place.base) - static_cast<std::int32_t>(back);
    step.right = static_cast<std::uint32_t>(8 * back);
    return step;
}

QuadStep make_quad(std::span<const Element> elements, const RowPlace& place) {
    QuadStep quad{};
    quad.gain.fill(1.0);
    quad.offset.fill(-0.0);
    quad.least.fill(-kInfinity);
    quad.greatest.fill(kInfinity);
    for (std::size_t lane = 0; lane < elements.size(); ++lane) {
        const Field& field = *elements[lane].field;
        if (const auto* linear = std::get_if<LinearCalibration>(&field.calibration)) {
            quad.gain[lane] = linear->gain;
            quad.offset[lane] = linear->offset;
        }
        if (field.valid_range) {
            quad.least[lane] = field.valid_range->first;
            quad.greatest[lane] = field.valid_range->second;
        }
    }
    if (are_words(elements)) {
        quad.load = elements[0].field->type == FieldType::signed_integer ? Load::signed_words : Load::unsigned_words;
        quad.integers.fill(words_step(elements[0], place));
    } else if (std::all_of(elements.begin(), elements.end(), is_ordinary)) {
        quad.load = Load::integers;
        for (std::size_t lane = 0; lane < kLanes; ++lane) // lanes to spare repeat the first channel
            quad.integers[lane] = integer_step(elements[lane < elements.size() ? lane : 0], place);
    } else {
        quad.load = Load::prepared;
    }
    return quad;
}

bool may_overflow(const Field& field) {
    if (field.type == FieldType::ieee754 || field.calibration.index() >= 2)
        return true;
    const auto* linear = std::get_if<LinearCalibration>(&field.calibration);
    return linear != nullptr &&
           !std::isfinite(std::abs(linear->gain) * std::ldexp(1.0, static_cast<int>(field.bit_width)) +
                          std::abs(linear->offset));
}

} // namespace

RowPlan make_row_plan(std::size_t table, const std::vector<Field>& fields, const RowPlace& place) {
    RowPlan plan;
    plan.table = table;
    const auto from_base = static_cast<std::uint32_t>(place.first - place.base);
    std::vector<Element> numbers;
    for (const Field& field : fields) {
        for (unsigned k = 0; k < field.count; ++k) {
            const std::uint32_t bit = field.bit_offset + k * field.bit_width;
            if (field.type == FieldType::text)
                plan.texts.push_back({from_base + bit / 8, field.bit_width / 8});
            else
                numbers.push_back({&field, bit});
        }
        plan.may_overflow = plan.may_overflow || may_overflow(field);
    }
    plan.number_count = numbers.size();
    for (std::size_t first = 0; first < numbers.size(); first += kLanes) {
        const auto elements = std::span(numbers).subspan(first, std::min(kLanes, numbers.size() - first));
        plan.quads.push_back(make_quad(elements, place));
        if (plan.quads.back().load != Load::prepared)
            continue;
        for (std::size_t lane = 0; lane < elements.size(); ++lane) {
            const Field& field = *elements[lane].field;
            const auto bit = static_cast<std::uint32_t>(elements[lane].bit);
            const auto channel = static_cast<std::uint32_t>(first + lane);
            plan.others.push_back({from_base + bit / 8, static_cast<unsigned char>(bit % 8),
                                   static_cast<unsigned char>(field.bit_width), field.byte_order == ByteOrder::little,
                                   converter(field), channel});
            if (field.calibration.index() >= 2)
                plan.curves.push_back({channel, &field.calibration});
        }
    }
    return plan;
}

std::uint64_t decode_numbers(const RowPlan& row, const std::byte* base, double* values) noexcept {
    for (const OtherStep& step : row.others)
        values[step.channel] = convert(step, gather(step, base + step.octet));
    for (const CurveStep& step : row.curves)
        values[step.channel] = at_curve(*step.calibration, values[step.channel]);
    Outside outside = none_outside();
    double* out = values;
    for (const QuadStep& step : row.quads) {
        Quad raw;
        switch (step.load) {
        case Load::signed_words:
            raw = words<true>(load_word(base + step.integers[0].octet) >> step.integers[0].right);
            break;
        case Load::unsigned_words:
            raw = words<false>(load_word(base + step.integers[0].octet) >> step.integers[0].right);
            break;
        case Load::integers:
            raw = make_raw(integer(step.integers[0], base), integer(step.integers[1], base),
                           integer(step.integers[2], base), integer(step.integers[3], base));
            break;
        case Load::prepared:
            raw = make_raw(out[0], out[1], out[2], out[3]);
            break;
        }
        scale(step, raw, out, outside);
        out += kLanes;
    }
    const std::uint64_t marks = is_any(outside) ? marks_of(row, values) : 0;
    if (row.may_overflow)
        for (std::size_t i = 0; i < row.number_count; ++i)
            if (!std::isfinite(values[i]))
                values[i] = std::numeric_limits<double>::quiet_NaN();
    return marks;
}

} // namespace turnstone
