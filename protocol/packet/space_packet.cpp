#include "protocol/packet/space_packet.hpp"

namespace turnstone {

std::array<std::byte, kPrimaryHeaderBytes> encode_primary_header(const PrimaryHeader& header) noexcept {
    const unsigned identification = (header.packet_version_number & 7U) << 13U | (header.telecommand ? 0x1000U : 0U) |
                                    (header.secondary_header_flag ? 0x0800U : 0U) | (header.apid & 0x07FFU);
    const unsigned sequence_control =
        static_cast<unsigned>(header.sequence_flags) << 14U | (header.sequence_count & 0x3FFFU);
    const auto high = [](unsigned word) { return static_cast<std::byte>(word >> 8U); };
    const auto low = [](unsigned word) { return static_cast<std::byte>(word & 0xFFU); };
    return {high(identification),
            low(identification),
            high(sequence_control),
            low(sequence_control),
            high(header.packet_data_length),
            low(header.packet_data_length)};
}

} // namespace turnstone
