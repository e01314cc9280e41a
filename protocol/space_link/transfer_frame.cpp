#include "protocol/space_link/transfer_frame.hpp"

#include <algorithm>
#include <cstring>

#include "protocol/packet/space_packet.hpp"

namespace turnstone {
namespace {

constexpr unsigned kVersionBits = 0xE0; // of a packet's first byte

std::size_t packet_bytes(std::span<const std::byte> header) noexcept {
    return kPrimaryHeaderBytes + 1 +
           (std::to_integer<std::size_t>(header[4]) << 8U | std::to_integer<std::size_t>(header[5]));
}

} // namespace

TransferHeader decode_transfer_header(std::span<const std::byte> frame) noexcept {
    const auto word = [&](std::size_t at) {
        return std::to_integer<unsigned>(frame[at]) << 8U | std::to_integer<unsigned>(frame[at + 1]);
    };
    const unsigned identification = word(0), status = word(4);
    TransferHeader header;
    header.version = static_cast<std::uint8_t>(identification >> 14U);
    header.spacecraft = static_cast<std::uint16_t>(identification >> 4U & 0x3FFU);
    header.virtual_channel = static_cast<std::uint8_t>(identification >> 1U & 7U);
    header.has_control_field = (identification & 1U) != 0;
    header.master_count = std::to_integer<std::uint8_t>(frame[2]);
    header.channel_count = std::to_integer<std::uint8_t>(frame[3]);
    header.has_secondary_header = (status & 0x8000U) != 0;
    header.is_synchronous = (status & 0x4000U) != 0;
    header.order_and_segment = static_cast<std::uint8_t>(status >> 11U & 7U);
    header.first_header = static_cast<std::uint16_t>(status & 0x7FFU);
    return header;
}

std::array<std::byte, kTransferHeaderBytes> encode_transfer_header(const TransferHeader& header) noexcept {
    const unsigned identification = (header.version & 3U) << 14U | (header.spacecraft & 0x3FFU) << 4U |
                                    (header.virtual_channel & 7U) << 1U | (header.has_control_field ? 1U : 0U);
    const unsigned status = (header.has_secondary_header ? 0x8000U : 0U) | (header.is_synchronous ? 0x4000U : 0U) |
                            (header.order_and_segment & 7U) << 11U | (header.first_header & 0x7FFU);
    const auto high = [](unsigned word) { return static_cast<std::byte>(word >> 8U); };
    const auto low = [](unsigned word) { return static_cast<std::byte>(word & 0xFFU); };
    return {high(identification), low(identification), std::byte{header.master_count}, std::byte{header.channel_count},
            high(status),         low(status)};
}

PacketAssembly::PacketAssembly(const TmFormat& format, std::size_t packet_bytes_max)
    : format_(format), whole_(std::max<std::size_t>(packet_bytes_max, kPrimaryHeaderBytes + 1)) {
    for (Channel& channel : channels_) channel.begun.resize(whole_.size());
    packets_.reserve(format.frame_bytes / (kPrimaryHeaderBytes + 1) + 2);
}

bool PacketAssembly::is_whole(const Channel& channel) noexcept {
    return channel.size > kPrimaryHeaderBytes && channel.size == packet_bytes(channel.begun);
}

std::size_t PacketAssembly::add(Channel& channel, std::span<const std::byte> bytes) noexcept {
    std::size_t added = 0;
    const auto up_to = [&](std::size_t size) {
        const std::size_t more = std::min(size - channel.size, bytes.size() - added);
        if (channel.size < channel.begun.size())
            std::memcpy(channel.begun.data() + channel.size, bytes.data() + added,
                        std::min(more, channel.begun.size() - channel.size));
        channel.size += more;
        added += more;
    };
    if (channel.size < kPrimaryHeaderBytes) up_to(kPrimaryHeaderBytes);
    if (channel.size >= kPrimaryHeaderBytes) up_to(packet_bytes(channel.begun));
    return added;
}

void PacketAssembly::give_up(Channel& channel) noexcept {
    counts_.packets_cut += channel.size > 0 ? 1 : 0;
    channel.size = 0;
}

void PacketAssembly::give(Channel& channel) noexcept {
    std::swap(whole_, channel.begun); // what begins behind it has its own place
    packets_.emplace_back(whole_.data(), std::min(channel.size, whole_.size()));
    channel.size = 0;
}

std::span<const std::span<const std::byte>> PacketAssembly::take(std::span<const std::byte> frame) noexcept {
    packets_.clear();
    const TransferHeader header = decode_transfer_header(frame);
    Channel& channel = channels_[header.virtual_channel];
    if (channel.next_count && *channel.next_count != header.channel_count) {
        counts_.frames_lost += static_cast<std::uint8_t>(header.channel_count - *channel.next_count);
        give_up(channel);
    }
    channel.next_count = static_cast<std::uint8_t>(header.channel_count + 1);

    std::size_t begin = kTransferHeaderBytes;
    std::size_t end = frame.size() - (format_.error_control ? kErrorControlBytes : 0);
    if (header.has_secondary_header) begin += 1 + (std::to_integer<std::size_t>(frame[begin]) & 0x3FU);
    if (header.has_control_field) end -= kControlFieldBytes;
    if (begin > end) {
        ++counts_.malformed;
        give_up(channel);
        return packets_;
    }
    if (header.has_control_field) {
        std::uint32_t word = 0;
        for (std::size_t k = end; k < end + kControlFieldBytes; ++k)
            word = word << 8U | std::to_integer<std::uint32_t>(frame[k]);
        counts_.control_field = word;
    }
    const bool is_wanted = format_.virtual_channel.value_or(header.virtual_channel) == header.virtual_channel;
    if (is_wanted && !header.is_synchronous && header.first_header != kOnlyIdleData)
        read(channel, frame.subspan(begin, end - begin), header.first_header);
    return packets_;
}

void PacketAssembly::read(Channel& channel, std::span<const std::byte> data, std::uint16_t first_header) noexcept {
    const std::size_t first = first_header == kNoPacketStarts ? data.size() : first_header;
    if (first > data.size()) {
        ++counts_.malformed;
        give_up(channel);
        return;
    }
    if (channel.size > 0) {
        const std::size_t added = add(channel, data.first(first));
        if (is_whole(channel) && added == first)
            give(channel);
        else if (is_whole(channel) || first_header != kNoPacketStarts)
            give_up(channel);
    }
    for (data = data.subspan(first); !data.empty();) {
        if ((std::to_integer<unsigned>(data[0]) & kVersionBits) != 0) {
            ++counts_.malformed; // no space packet: nobody knows how long it is
            return;
        }
        if (data.size() < kPrimaryHeaderBytes || packet_bytes(data) > data.size()) {
            add(channel, data);
            return;
        }
        packets_.push_back(data.first(packet_bytes(data)));
        data = data.subspan(packets_.back().size());
    }
}

} // namespace turnstone
