#include "protocol/decode/decode_plan.hpp"

#include <utility>

#include "shared/constants.hpp"

namespace turnstone {
namespace {

NumberStep::Raw raw_of(const Field& field) {
    using Raw = NumberStep::Raw;
    if (field.type == FieldType::unsigned_integer) return Raw::unsigned_integer;
    if (field.type == FieldType::signed_integer) return Raw::signed_integer;
    return field.bit_width == 16 ? Raw::half : field.bit_width == 32 ? Raw::single : Raw::real;
}

} // namespace

RowPlan make_row_plan(const ChannelTable& table) {
    RowPlan plan{std::vector<NumberStep>(table.number_count), std::vector<TextStep>(table.text_count)};
    for (const Channel& channel : table.channels) {
        const Field& field = *channel.field;
        const std::uint32_t bit = field.bit_offset + channel.element * field.bit_width;
        if (channel.is_text()) {
            plan.texts[channel.place - table.number_count] = {.byte = bit / 8, .size = field.bit_width / 8};
            continue;
        }
        const auto [least, greatest] = field.valid_range.value_or(std::pair(-kInfinity, kInfinity));
        plan.numbers[channel.place] = {.byte = bit / 8,
                                       .skip = static_cast<unsigned char>(bit % 8),
                                       .width = static_cast<unsigned char>(field.bit_width),
                                       .is_little = field.byte_order == ByteOrder::little,
                                       .raw = raw_of(field),
                                       .calibration = &field.calibration,
                                       .least = least,
                                       .greatest = greatest};
    }
    return plan;
}

} // namespace turnstone
