#include "protocol/space_link/tm_encoder.hpp"

#include <algorithm>

#include "protocol/coding/randomizer.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/space_link/tm_deframer.hpp"

namespace turnstone {

TmEncoder::TmEncoder(const TmFormat& format, std::uint16_t spacecraft, std::uint8_t virtual_channel,
                     std::optional<std::uint32_t> control_field)
    : format_(format), control_field_(control_field) {
    header_.spacecraft = spacecraft;
    header_.virtual_channel = virtual_channel;
    header_.has_control_field = control_field.has_value();
    if (format_.correctable > 0) code_.emplace(format_.correctable);
}

std::size_t TmEncoder::data_bytes() const noexcept {
    return format_.frame_bytes - kTransferHeaderBytes - (control_field_ ? kControlFieldBytes : 0) -
           (format_.error_control ? kErrorControlBytes : 0);
}

void TmEncoder::packet(std::span<const std::byte> packet, std::vector<std::byte>& link) {
    std::vector<std::size_t> headers;
    if (first_header_) headers.push_back(*first_header_);
    headers.push_back(data_.size());
    data_.insert(data_.end(), packet.begin(), packet.end());
    const std::size_t size = data_bytes();
    while (data_.size() >= size) {
        const bool starts = !headers.empty() && headers.front() < size;
        send(transfer_frame(std::span(data_).first(size),
                            starts ? static_cast<std::uint16_t>(headers.front()) : kNoPacketStarts),
             link);
        data_.erase(data_.begin(), data_.begin() + static_cast<std::ptrdiff_t>(size));
        std::erase_if(headers, [&](std::size_t header) { return header < size; });
        for (std::size_t& header : headers) header -= size;
    }
    first_header_ = headers.empty() ? std::nullopt : std::optional(headers.front());
}

void TmEncoder::flush(std::vector<std::byte>& link) {
    while (!data_.empty()) {
        const std::size_t bytes = std::max(data_bytes() - data_.size(), kPrimaryHeaderBytes + 1);
        std::vector<std::byte> filler(bytes, std::byte{0x55});
        const auto header = encode_primary_header(
            {.apid = kIdleApid, .packet_data_length = static_cast<std::uint16_t>(bytes - kPrimaryHeaderBytes - 1)});
        std::ranges::copy(header, filler.begin());
        packet(filler, link);
    }
}

void TmEncoder::idle(std::vector<std::byte>& link) {
    send(transfer_frame(std::vector<std::byte>(data_bytes(), std::byte{0x55}), kOnlyIdleData), link);
}

std::vector<std::byte> TmEncoder::transfer_frame(std::span<const std::byte> data, std::uint16_t first_header) {
    header_.first_header = first_header;
    const auto header = encode_transfer_header(header_);
    ++header_.master_count;
    ++header_.channel_count;
    std::vector<std::byte> frame(header.begin(), header.end());
    frame.insert(frame.end(), data.begin(), data.end());
    if (control_field_)
        for (std::size_t k = kControlFieldBytes; k-- > 0;)
            frame.push_back(static_cast<std::byte>(*control_field_ >> 8 * k & 0xFFU));
    if (format_.error_control) {
        const std::uint16_t crc = crc16(frame);
        frame.push_back(static_cast<std::byte>(crc >> 8U));
        frame.push_back(static_cast<std::byte>(crc & 0xFFU));
    }
    return frame;
}

void TmEncoder::send(std::vector<std::byte> frame, std::vector<std::byte>& link) {
    if (code_) {
        const std::size_t depth = format_.interleave, parity = code_->parity_bytes();
        frame.resize(format_.block_bytes());
        std::vector<std::byte> data(format_.frame_bytes / depth), check(parity);
        for (std::size_t k = 0; k < depth; ++k) {
            for (std::size_t i = 0; i < data.size(); ++i) data[i] = frame[i * depth + k];
            if (format_.dual_basis) to_conventional_basis(data);
            code_->encode(data, check);
            if (format_.dual_basis) to_dual_basis(check);
            for (std::size_t i = 0; i < parity; ++i) frame[(data.size() + i) * depth + k] = check[i];
        }
    }
    if (format_.randomized) randomize(frame);
    std::vector<std::byte> sent;
    for (unsigned k = 4; k-- > 0;) sent.push_back(static_cast<std::byte>(kSyncMarker >> 8 * k & 0xFFU));
    sent.insert(sent.end(), frame.begin(), frame.end());
    send_bits(sent, link);
}

void TmEncoder::send_bits(std::span<const std::byte> bytes, std::vector<std::byte>& link) {
    if (format_.symbols == ChannelSymbols::bits) {
        link.insert(link.end(), bytes.begin(), bytes.end());
        return;
    }
    for (const std::byte byte : bytes) {
        unsigned sixteen = 0;
        for (unsigned k = 8; k-- > 0;)
            sixteen = sixteen << 2U | convolution_.symbols(std::to_integer<unsigned>(byte) >> k & 1U);
        if (format_.symbols == ChannelSymbols::hard) {
            link.push_back(static_cast<std::byte>(sixteen >> 8U));
            link.push_back(static_cast<std::byte>(sixteen & 0xFFU));
            continue;
        }
        for (unsigned k = 16; k-- > 0;) link.push_back((sixteen >> k & 1U) != 0 ? std::byte{255} : std::byte{0});
    }
}

} // namespace turnstone
