#pragma once
/// CCSDS Space Packet primary header (CCSDS 133.0-B-2, 4.1.3), six bytes, most significant bit first:
///
///   bits  0-2  packet version number (000)      bits 16-17 sequence flags
///   bit   3    packet type (0 telemetry)        bits 18-31 packet sequence count
///   bit   4    secondary header flag            bits 32-47 packet data length (bytes of the data field, minus one)
///   bits  5-15 APID
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace turnstone {

enum class SequenceFlags : unsigned char { continuation = 0, first = 1, last = 2, unsegmented = 3 };

struct PrimaryHeader {
    std::uint8_t packet_version_number = 0;
    bool telecommand = false; ///< packet type
    bool secondary_header_flag = false;
    std::uint16_t apid = 0;
    SequenceFlags sequence_flags = SequenceFlags::unsegmented;
    std::uint16_t sequence_count = 0;     ///< modulo kSequenceModulus
    std::uint16_t packet_data_length = 0; ///< the field: bytes of the packet data field minus one
    friend bool operator==(const PrimaryHeader&, const PrimaryHeader&) = default;
};

inline constexpr std::size_t kPrimaryHeaderBytes = 6;
/// The length field holds 65,535 at most: one less than the bytes that follow the header.
inline constexpr std::size_t kPacketBytesMax = kPrimaryHeaderBytes + 65'536;
inline constexpr std::uint16_t kIdleApid = 2047;
inline constexpr std::uint16_t kSequenceModulus = 16384;

/// Empty when fewer than six bytes are given. Any six bytes decode; their values are not checked here. Inline: every
/// packet passes here, and the fields then stay in registers.
[[nodiscard]] inline std::optional<PrimaryHeader> decode_primary_header(std::span<const std::byte> packet) noexcept {
    if (packet.size() < kPrimaryHeaderBytes) return std::nullopt;
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

[[nodiscard]] std::array<std::byte, kPrimaryHeaderBytes> encode_primary_header(const PrimaryHeader& header) noexcept;

} // namespace turnstone
