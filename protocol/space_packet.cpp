#include "protocol/space_packet.hpp"

namespace turnstone {

std::optional<PrimaryHeader> decode_primary_header(std::span<const std::byte> packet) noexcept {
    if (packet.size() < kPrimaryHeaderOctets)
        return std::nullopt;
    const auto word = [&](std::size_t at) {
        return std::to_integer<unsigned>(packet[at]) << 8U | std::to_integer<unsigned>(packet[at + 1]);
    };
    const unsigned identification = word(0);
    const unsigned sequence_control = word(2);
    PrimaryHeader header;
    header.packet_version_number = static_cast<std::uint8_t>(identification >> 13U);
    header.telecommand = (identification & 0x1000U) != 0;
    header.secondary_header_flag = (identification & 0x0800U) != 0;
    header.apid = static_cast<std::uint16_t>(identification & 0x07FFU);
    header.sequence_flags = static_cast<SequenceFlags>(sequence_control >> 14U);
    header.sequence_count = static_cast<std::uint16_t>(sequence_control & 0x3FFFU);
    header.packet_data_length = static_cast<std::uint16_t>(word(4));
    return header;
}

std::array<std::byte, kPrimaryHeaderOctets> encode_primary_header(const PrimaryHeader& header) noexcept {
    const unsigned identification = (header.packet_version_number & 7U) << 13U | (header.telecommand ? 0x1000U : 0U) |
                                    (header.secondary_header_flag ? 0x0800U : 0U) | (header.apid & 0x07FFU);
    const unsigned sequence_control =
        static_cast<unsigned>(header.sequence_flags) << 14U | (header.sequence_count & 0x3FFFU);
    const auto high = [](unsigned word) { return static_cast<std::byte>(word >> 8U); };
    const auto low = [](unsigned word) { return static_cast<std::byte>(word & 0xFFU); };
    return {high(identification),          low(identification),          high(sequence_control), low(sequence_control),
            high(header.packet_data_length), low(header.packet_data_length)};
}

} // namespace turnstone
