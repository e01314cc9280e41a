#include "protocol/framing/escaped_deframer.hpp"

namespace turnstone {
namespace {

constexpr std::byte kCommandBits{0x0F}; // of the first byte of a KISS frame; 0: data

} // namespace

EscapedDeframer::EscapedDeframer(const EscapedFormat& format, std::size_t packet_bytes_max)
    : DelimitedDeframer(delimiter_of(format.stuffing), true, escaped_frame_bytes_max(packet_bytes_max)),
      format_(format), plain_(escaped_frame_bytes_max(packet_bytes_max)) {
    if (format_.crc) crc_.emplace(*format_.crc);
    if (format_.apid) packet_.emplace(*format_.apid, plain_.size());
}

Frame EscapedDeframer::judge(std::span<const std::byte> bytes) noexcept {
    const Frame frame = DelimitedDeframer::judge(bytes);
    if (packet_ && frame.verdict == FrameVerdict::good) packet_->take_back();
    return frame;
}

FrameVerdict EscapedDeframer::unpack(std::span<const std::byte> stuffed, std::span<const std::byte>& packet) noexcept {
    const UnstuffResult plain = unstuff(format_.stuffing, stuffed, plain_);
    std::span<const std::byte> content(plain_.data(), plain.produced);
    packet = content;
    if (!plain.complete) return FrameVerdict::bad_escape;
    if (crc_) {
        if (content.size() < format_.crc_bytes()) return FrameVerdict::bad_length;
        const std::span<const std::byte> sent = content.last(format_.crc_bytes());
        content = content.first(content.size() - sent.size());
        std::uint32_t told = 0;
        for (std::size_t k = 0; k < sent.size(); ++k)
            told = told << 8U | std::to_integer<std::uint32_t>(sent[format_.crc_little ? sent.size() - 1 - k : k]);
        if (crc_->of(content) != told) return FrameVerdict::bad_crc;
    }
    if (format_.stuffing == Stuffing::kiss) {
        if (content.empty()) return FrameVerdict::bad_length;
        const auto port = std::to_integer<unsigned>(content[0] >> 4U);
        if ((content[0] & kCommandBits) != std::byte{0} || port != format_.port.value_or(port))
            return FrameVerdict::not_data;
        content = content.subspan(1);
    }
    if (content.size() < format_.skipped_bytes) return FrameVerdict::bad_length;
    content = content.subspan(format_.skipped_bytes);
    if (format_.ax25 != Ax25Head::none) {
        const Ax25Frame frame = split_ax25(content);
        if (frame.verdict == Ax25Verdict::bad_addresses) return FrameVerdict::bad_length;
        if (frame.verdict == Ax25Verdict::other) return FrameVerdict::not_data;
        if (format_.ax25 == Ax25Head::kept) {
            packet = content;
            return FrameVerdict::good;
        }
        content = frame.information;
    }
    if (packet_) {
        packet = packet_->of(content);
        return FrameVerdict::good;
    }
    packet = content;
    return has_its_length(content) ? FrameVerdict::good : FrameVerdict::bad_length;
}

std::vector<std::byte> encode_escaped_frame(const EscapedFormat& format, std::span<const std::byte> content,
                                            std::uint32_t control_map) {
    std::vector<std::byte> plain(format.skipped_bytes);
    if (format.stuffing == Stuffing::kiss) plain.push_back(static_cast<std::byte>(format.port.value_or(0) << 4U));
    plain.insert(plain.end(), content.begin(), content.end());
    if (format.crc) {
        const std::uint32_t crc = Crc(*format.crc).of(plain);
        for (std::size_t k = 0; k < format.crc_bytes(); ++k)
            plain.push_back(
                static_cast<std::byte>(crc >> 8 * (format.crc_little ? k : format.crc_bytes() - 1 - k) & 0xFFU));
    }
    std::vector<std::byte> out{delimiter_of(format.stuffing)};
    stuff(format.stuffing, plain, out, control_map);
    out.push_back(delimiter_of(format.stuffing));
    return out;
}

} // namespace turnstone
