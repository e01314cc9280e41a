#include "protocol/packet/payload_packet.hpp"

#include <cstring>

#include "protocol/packet/space_packet.hpp"

namespace turnstone {

PayloadPacket::PayloadPacket(std::uint16_t apid, std::size_t payload_bytes_max)
    : apid_(apid), packet_(kPrimaryHeaderBytes + payload_bytes_max) {}

std::span<const std::byte> PayloadPacket::of(std::span<const std::byte> payload) noexcept {
    const auto header = encode_primary_header({.secondary_header_flag = true,
                                               .apid = apid_,
                                               .sequence_count = sequence_count_,
                                               .packet_data_length = static_cast<std::uint16_t>(payload.size() - 1)});
    std::memcpy(packet_.data(), header.data(), header.size());
    if (!payload.empty()) std::memcpy(packet_.data() + header.size(), payload.data(), payload.size());
    sequence_count_ = static_cast<std::uint16_t>((sequence_count_ + 1U) % kSequenceModulus);
    return {packet_.data(), header.size() + payload.size()};
}

void PayloadPacket::take_back() noexcept {
    sequence_count_ = static_cast<std::uint16_t>((sequence_count_ + kSequenceModulus - 1U) % kSequenceModulus);
}

} // namespace turnstone
