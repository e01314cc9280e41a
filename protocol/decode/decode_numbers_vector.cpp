// Why vectors: importing an on-board log or replaying a recording must decode at least 1 million packets a second,
// close to the pace of the bare parser (delimiters, unstuffing, checksum) that `tools/bench decode` runs beside it.
// With decode_numbers() the channels alone take longer than the parser. A 57,600 baud link brings about 90 frames a
// second and would not need this file.
//
// Four channels go at a time: their raw values are loaded, then scaled and checked against their ranges in one vector.
// No multiply-add is used, so that the bits are those of decode_numbers().
#include "protocol/decode/decode_numbers_vector.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <span>
#include <variant>

#include "protocol/decode/decode_numbers.hpp"
#include "shared/constants.hpp"

#if defined(__x86_64__)

#include <bit>
#include <cstring>

#include <immintrin.h>

#define TURNSTONE_AVX2 __attribute__((target("avx2")))

namespace turnstone {
namespace {

static_assert(std::endian::native == std::endian::little, "the loads below swap bytes for a little-endian machine");

constexpr std::size_t kLanes = 4;
constexpr std::size_t kLoadBytes = 8;
/// An integer that one load of eight bytes holds: ((load >> right) & mask), sign extended.
struct IntegerLane {
    std::int32_t byte; ///< of the load, from the row's base; near the packet's end it begins before the field
    std::uint32_t right;
    std::uint64_t mask;
    std::uint64_t sign; ///< the sign bit; 0: unsigned
};

enum class Load : unsigned char {
    signed_words, ///< four 16-bit fields side by side, big-endian
    unsigned_words,
    integers,
    others ///< decode_number() takes each, calibration included
};

bool is_signed(const NumberStep& step) {
    return step.raw == NumberStep::Raw::signed_integer;
}

/// Big-endian, within one load, linear or no calibration, exact as a signed 64-bit integer.
bool is_ordinary(const NumberStep& step) {
    const bool is_unsigned = step.raw == NumberStep::Raw::unsigned_integer && step.width < 64;
    return (is_signed(step) || is_unsigned) && !step.is_little && step.skip + step.width <= 64 &&
           (std::holds_alternative<std::monostate>(*step.calibration) ||
            std::holds_alternative<LinearCalibration>(*step.calibration));
}

/// 16-bit integers side by side, so that one load takes them all.
bool are_words(std::span<const NumberStep> steps) {
    for (std::size_t i = 0; i < steps.size(); ++i)
        if (!is_ordinary(steps[i]) || steps[i].width != 16 || steps[i].skip != 0 || steps[i].raw != steps[0].raw ||
            steps[i].byte != steps[0].byte + 2 * i)
            return false;
    return true;
}

/// How far before its field a load begins, so that it ends with the packet.
std::size_t bytes_back(const NumberStep& step, std::size_t bytes_to_end) {
    return step.byte + kLoadBytes > bytes_to_end ? step.byte + kLoadBytes - bytes_to_end : 0;
}

IntegerLane integer_lane(const NumberStep& step, std::size_t bytes_to_end) {
    const std::size_t back = bytes_back(step, bytes_to_end);
    return {.byte = static_cast<std::int32_t>(step.byte) - static_cast<std::int32_t>(back),
            .right = static_cast<std::uint32_t>(64 - step.skip - step.width - 8 * back),
            .mask = step.width == 64 ? ~0ULL : (1ULL << step.width) - 1,
            .sign = is_signed(step) ? 1ULL << (step.width - 1U) : 0};
}

/// `right` brings the first word to the lowest bytes of the load.
IntegerLane words_lane(const NumberStep& first, std::size_t bytes_to_end) {
    const std::size_t back = bytes_back(first, bytes_to_end);
    return {.byte = static_cast<std::int32_t>(first.byte) - static_cast<std::int32_t>(back),
            .right = static_cast<std::uint32_t>(8 * back),
            .mask = 0,
            .sign = 0};
}

std::uint64_t load_word(const std::byte* at) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, sizeof word);
    return word;
}

double integer(const IntegerLane& lane, const std::byte* base) {
    const std::uint64_t raw = (__builtin_bswap64(load_word(base + lane.byte)) >> lane.right) & lane.mask;
    return static_cast<double>(static_cast<std::int64_t>((raw ^ lane.sign) - lane.sign));
}

bool may_overflow(const NumberStep& step) {
    if (!is_ordinary(step)) return true;
    const auto* linear = std::get_if<LinearCalibration>(step.calibration);
    return linear != nullptr &&
           !std::isfinite(std::abs(linear->gain) * std::ldexp(1.0, step.width) + std::abs(linear->offset));
}

bool has_vectors() {
    __builtin_cpu_init();
    return __builtin_cpu_supports("avx2") != 0;
}

} // namespace

struct VectorRow::Quad {
    Quad(std::span<const NumberStep> steps, std::size_t bytes_to_end);
    TURNSTONE_AVX2 __m256d raw(const std::byte* base) const noexcept;
    /// Uses instructions that not every processor has: call it only where has_vectors().
    TURNSTONE_AVX2 static void decode(const VectorRow& row, const RowSeries& series, double* values,
                                      std::uint64_t* marks) noexcept;

    alignas(32) std::array<double, kLanes> gain;
    alignas(
        32) std::array<double, kLanes> offset; ///< -0.0 without calibration: adds nothing, and keeps the sign of a zero
    alignas(32) std::array<double, kLanes> least;
    alignas(32) std::array<double, kLanes> greatest;
    std::array<IntegerLane, kLanes> integers{};
    std::array<const NumberStep*, kLanes> others{}; ///< null: a lane to spare
    Load load = Load::others;
};

VectorRow::Quad::Quad(std::span<const NumberStep> steps, std::size_t bytes_to_end) {
    gain.fill(1.0);
    offset.fill(-0.0);
    least.fill(-kInfinity);
    greatest.fill(kInfinity);
    for (std::size_t lane = 0; lane < steps.size(); ++lane) {
        least[lane] = steps[lane].least;
        greatest[lane] = steps[lane].greatest;
    }
    if (!std::all_of(steps.begin(), steps.end(), is_ordinary)) {
        for (std::size_t lane = 0; lane < steps.size(); ++lane) others[lane] = &steps[lane];
        return;
    }
    for (std::size_t lane = 0; lane < steps.size(); ++lane) {
        if (const auto* linear = std::get_if<LinearCalibration>(steps[lane].calibration)) {
            gain[lane] = linear->gain;
            offset[lane] = linear->offset;
        }
    }
    if (are_words(steps)) {
        load = is_signed(steps[0]) ? Load::signed_words : Load::unsigned_words;
        integers[0] = words_lane(steps[0], bytes_to_end);
    } else {
        load = Load::integers;
        for (std::size_t lane = 0; lane < kLanes; ++lane) // lanes to spare repeat the first channel
            integers[lane] = integer_lane(steps[lane < steps.size() ? lane : 0], bytes_to_end);
    }
}

TURNSTONE_AVX2 inline __m256d VectorRow::Quad::raw(const std::byte* base) const noexcept {
    if (load == Load::signed_words || load == Load::unsigned_words) {
        const __m128i swap = _mm_setr_epi8(1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14);
        const std::uint64_t bytes = load_word(base + integers[0].byte) >> integers[0].right;
        const __m128i words = _mm_shuffle_epi8(_mm_cvtsi64_si128(static_cast<long long>(bytes)), swap);
        return _mm256_cvtepi32_pd(load == Load::signed_words ? _mm_cvtepi16_epi32(words) : _mm_cvtepu16_epi32(words));
    }
    if (load == Load::integers)
        return _mm256_setr_pd(integer(integers[0], base), integer(integers[1], base), integer(integers[2], base),
                              integer(integers[3], base));
    alignas(32) std::array<double, kLanes> values{};
    for (std::size_t lane = 0; lane < kLanes && others[lane] != nullptr; ++lane)
        values[lane] = decode_number(*others[lane], base);
    return _mm256_load_pd(values.data());
}

VectorRow::VectorRow(std::vector<NumberStep> row, std::size_t bytes_before, std::size_t bytes_to_end)
    : row_(std::move(row)) {
    if (!has_vectors() || bytes_before + bytes_to_end < kLoadBytes) return; // a load would not fit the packet
    const std::span<const NumberStep> steps(row_);
    for (std::size_t first = 0; first < steps.size(); first += kLanes)
        quads_.emplace_back(steps.subspan(first, std::min(kLanes, steps.size() - first)), bytes_to_end);
    may_overflow_ = std::any_of(steps.begin(), steps.end(), may_overflow);
}

TURNSTONE_AVX2 void VectorRow::Quad::decode(const VectorRow& row, const RowSeries& series, double* values,
                                            std::uint64_t* marks) noexcept {
    const Quad* const begin = row.quads_.data();
    const Quad* const end = begin + row.quads_.size();
    const std::byte* base = series.base;
    // A row's last vector may reach into the next row, which is written after it.
    for (std::size_t k = 0; k < series.count; ++k, base += series.stride, values += row.size()) {
        // A value that clamping to its range does not change is inside. NaN always differs; out_of_range() sorts it
        // out.
        __m256d outside = _mm256_setzero_pd();
        double* out = values;
        for (const Quad* quad = begin; quad != end; ++quad, out += kLanes) {
            const __m256d value = _mm256_add_pd(_mm256_load_pd(quad->offset.data()),
                                                _mm256_mul_pd(_mm256_load_pd(quad->gain.data()), quad->raw(base)));
            _mm256_storeu_pd(out, value);
            const __m256d inside = _mm256_min_pd(_mm256_max_pd(value, _mm256_load_pd(quad->least.data())),
                                                 _mm256_load_pd(quad->greatest.data()));
            outside = _mm256_or_pd(outside, _mm256_cmp_pd(inside, value, _CMP_NEQ_UQ));
        }
        marks[k] = _mm256_movemask_pd(outside) != 0 ? out_of_range(row.row_, values) : 0;
        if (row.may_overflow_) [[unlikely]]
            for (std::size_t i = 0; i < row.size(); ++i)
                if (!std::isfinite(values[i])) values[i] = kNaN;
    }
}

void VectorRow::decode(const RowSeries& series, double* values, std::uint64_t* marks) const noexcept {
    if (quads_.empty()) return decode_numbers(row_, series, values, marks);
    Quad::decode(*this, series, values, marks);
}

#else

namespace turnstone {

struct VectorRow::Quad {};

VectorRow::VectorRow(std::vector<NumberStep> row, std::size_t, std::size_t) : row_(std::move(row)) {}

void VectorRow::decode(const RowSeries& series, double* values, std::uint64_t* marks) const noexcept {
    decode_numbers(row_, series, values, marks);
}

#endif

VectorRow::VectorRow(VectorRow&&) noexcept = default;
VectorRow::~VectorRow() = default;

} // namespace turnstone
