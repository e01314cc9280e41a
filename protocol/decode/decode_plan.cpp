#include "protocol/decode/decode_plan.hpp"

#include <utility>

#include "shared/constants.hpp"

namespace turnstone {
namespace {

using Raw = NumberStep::Raw;

constexpr Calibration kNoCalibration;

Raw raw_of(bool is_signed, IntegerCoding coding) {
    switch (coding) {
    case IntegerCoding::plain: break;
    case IntegerCoding::sign_magnitude: return Raw::sign_magnitude;
    case IntegerCoding::ones_complement: return Raw::ones_complement;
    case IntegerCoding::offset_binary: return Raw::offset_binary;
    case IntegerCoding::bcd: return Raw::bcd;
    }
    return is_signed ? Raw::signed_integer : Raw::unsigned_integer;
}

Raw raw_of(const Field& field) {
    switch (field.type) {
    case FieldType::ieee754: return field.bit_width == 16 ? Raw::half : field.bit_width == 32 ? Raw::single : Raw::real;
    case FieldType::mil_std_1750a: return Raw::mil_std_1750a;
    case FieldType::time: return Raw::time;
    case FieldType::unsigned_integer:
    case FieldType::signed_integer:
    case FieldType::text:
    case FieldType::bytes: break;
    }
    return raw_of(field.type == FieldType::signed_integer, field.coding);
}

} // namespace

NumberStep number_step(const Field& field, std::uint32_t bit, unsigned element) {
    bit += element * field.bit_width;
    const auto [least, greatest] = field.valid_range.value_or(std::pair(-kInfinity, kInfinity));
    return {.byte = bit / 8,
            .skip = static_cast<unsigned char>(bit % 8),
            .width = static_cast<unsigned char>(field.bit_width),
            .is_little = field.byte_order == ByteOrder::little,
            .is_lsb_first = field.is_lsb_first,
            .raw = raw_of(field),
            .calibration = &field.calibration,
            .time = &field.time,
            .least = least,
            .greatest = greatest};
}

NumberStep number_step(const PlacedInteger& at) {
    return {.byte = at.bit / 8,
            .skip = static_cast<unsigned char>(at.bit % 8),
            .width = static_cast<unsigned char>(at.bit_width),
            .is_little = at.byte_order == ByteOrder::little,
            .is_lsb_first = at.is_lsb_first,
            .raw = raw_of(at.is_signed, at.coding),
            .calibration = &kNoCalibration,
            .time = nullptr,
            .least = -kInfinity,
            .greatest = kInfinity};
}

RowPlan make_row_plan(const Dictionary& dictionary, const ChannelTable& table) {
    RowPlan plan{std::vector<NumberStep>(table.number_count), std::vector<TextStep>(table.text_count)};
    const Packet& packet = dictionary.packets[table.packet];
    const std::size_t header_channels = [&] {
        std::size_t count = 0;
        if (table.group == nullptr)
            for (const Field& field : packet.header.fields) count += field.count;
        return count;
    }();
    for (std::size_t i = 0; i < table.channels.size(); ++i) {
        const Channel& channel = table.channels[i];
        const Field& field = *channel.field;
        const std::uint32_t first_bit = table.group != nullptr || i < header_channels ? 0 : 8 * packet.header_bytes;
        if (channel.is_text())
            plan.texts[channel.place - table.number_count] = {
                .byte = (first_bit + field.bit_offset + channel.element * field.bit_width) / 8,
                .size = field.bit_width / 8,
                .field = &field};
        else
            plan.numbers[channel.place] = number_step(field, first_bit + field.bit_offset, channel.element);
    }
    return plan;
}

} // namespace turnstone
