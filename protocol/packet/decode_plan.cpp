#include "protocol/packet/decode_plan.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

namespace turnstone {
namespace {

using Convert = OtherStep::Convert;
using Load = QuadStep::Load;

constexpr std::size_t kLoadOctets = 8;
constexpr double kInfinity = std::numeric_limits<double>::infinity();

Convert converter(const Field& field) {
    if (field.type == FieldType::unsigned_integer) return Convert::unsigned_integer;
    if (field.type == FieldType::signed_integer) return Convert::signed_integer;
    return field.bit_width == 16 ? Convert::half : field.bit_width == 32 ? Convert::single : Convert::real;
}

/// A channel while its row is being planned.
struct Element {
    const Field* field;
    std::size_t bit; ///< from the row's bit 0
};

bool is_ordinary(const Element& element) {
    const Field& field = *element.field;
    const bool is_little = field.byte_order == ByteOrder::little;
    const bool is_integer = field.type == FieldType::signed_integer || field.type == FieldType::unsigned_integer;
    const bool fits = element.bit % 8 + field.bit_width <= 64;
    const bool fits_signed = field.type == FieldType::signed_integer || field.bit_width < 64;
    return is_integer && !is_little && fits && fits_signed && field.calibration.index() < 2;
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
        for (std::size_t lane = 0; lane < kQuadLanes; ++lane) // lanes to spare repeat the first channel
            quad.integers[lane] = integer_step(elements[lane < elements.size() ? lane : 0], place);
    } else {
        quad.load = Load::prepared;
    }
    return quad;
}

bool may_overflow(const Field& field) {
    if (field.type == FieldType::ieee754 || field.calibration.index() >= 2) return true;
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
    for (std::size_t first = 0; first < numbers.size(); first += kQuadLanes) {
        const auto elements = std::span(numbers).subspan(first, std::min(kQuadLanes, numbers.size() - first));
        plan.quads.push_back(make_quad(elements, place));
        if (plan.quads.back().load != Load::prepared) continue;
        for (std::size_t lane = 0; lane < elements.size(); ++lane) {
            const Field& field = *elements[lane].field;
            const auto bit = static_cast<std::uint32_t>(elements[lane].bit);
            const auto channel = static_cast<std::uint32_t>(first + lane);
            plan.others.push_back({from_base + bit / 8, static_cast<unsigned char>(bit % 8),
                                   static_cast<unsigned char>(field.bit_width), field.byte_order == ByteOrder::little,
                                   converter(field), channel});
            if (field.calibration.index() >= 2) plan.curves.push_back({channel, &field.calibration});
        }
    }
    return plan;
}

} // namespace turnstone
