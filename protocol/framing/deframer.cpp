#include "protocol/framing/deframer.hpp"

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {

bool has_its_length(std::span<const std::byte> packet) noexcept {
    if (packet.size() <= kPrimaryHeaderBytes) return false;
    const auto length_field = std::to_integer<std::size_t>(packet[4]) << 8U | std::to_integer<std::size_t>(packet[5]);
    return kPrimaryHeaderBytes + length_field + 1 == packet.size();
}

void DelimitedDeframer::hold(std::span<const std::byte> bytes) noexcept {
    if (!too_long_ && size_ + bytes.size() < frame_size_max_) {
        std::memcpy(held_.data() + size_, bytes.data(), bytes.size());
        size_ += bytes.size();
        return;
    }
    too_long_ = true;
    skipped_ += size_ + bytes.size();
    counts_.bytes_dropped += size_ + bytes.size();
    size_ = 0;
    opening_ = 0;
}

void DelimitedDeframer::close_piece(Frame& frame) noexcept {
    frame = {FrameVerdict::too_long, offset_, static_cast<std::uint32_t>(skipped_), {}};
    ++counts_.frames_bad;
    offset_ += skipped_;
    skipped_ = 0;
}

void DelimitedDeframer::repeat() noexcept {
    if (may_open_ && !too_long_ && opening_ == 0) {
        held_[0] = delimiter_;
        size_ = opening_ = 1;
        return;
    }
    too_long_ = false;
    ++counts_.bytes_dropped;
    ++offset_;
}

bool DelimitedDeframer::close(std::span<const std::byte> bytes, Frame& frame) noexcept {
    const std::uint64_t link_bytes = skipped_ + size_ + bytes.size() + 1;
    if (link_bytes == opening_ + 1) {
        repeat();
        return false;
    }
    frame.stream_offset = offset_;
    frame.link_bytes = static_cast<std::uint32_t>(link_bytes);
    offset_ += link_bytes;
    if (too_long_ || link_bytes > frame_size_max_) {
        frame.verdict = FrameVerdict::too_long;
        counts_.bytes_dropped += link_bytes - skipped_;
    } else {
        if (size_ > opening_) {
            std::memcpy(held_.data() + size_, bytes.data(), bytes.size());
            bytes = {held_.data() + opening_, size_ - opening_ + bytes.size()};
        }
        frame.received = bytes;
        frame.verdict = unpack(bytes, frame.packet);
        if (frame.verdict == FrameVerdict::good)
            counts_.bytes_framed += link_bytes;
        else
            counts_.bytes_dropped += link_bytes;
    }
    ++(frame.verdict == FrameVerdict::good ? counts_.frames_good : counts_.frames_bad);
    size_ = 0;
    opening_ = 0;
    skipped_ = 0;
    too_long_ = false;
    return true;
}

Frame DelimitedDeframer::judge(std::span<const std::byte> bytes) noexcept {
    Frame frame{FrameVerdict::too_long, 0, static_cast<std::uint32_t>(bytes.size() + 1), {}, bytes};
    if (bytes.size() >= frame_size_max_) return frame; // as large as the largest frame
    const bool has_delimiter =
        !bytes.empty() && std::memchr(bytes.data(), std::to_integer<int>(delimiter_), bytes.size()) != nullptr;
    frame.verdict = has_delimiter ? FrameVerdict::bad_length : unpack(bytes, frame.packet);
    return frame;
}

FrameVerdict Deframer::unpack(std::span<const std::byte> stuffed, std::span<const std::byte>& packet) noexcept {
    const CobsResult plain = cobs_decode_nonzero(stuffed, packet_);
    const std::size_t size = plain.produced > kCrc16Bytes ? plain.produced - kCrc16Bytes : 0;
    packet = {packet_.data(), size};
    if (plain.status != CobsStatus::complete) return FrameVerdict::bad_cobs;
    if (crc16({packet_.data(), plain.produced}) != 0) // a codeword followed by its own CRC leaves a register of zero
        return FrameVerdict::bad_crc;
    return has_its_length(packet) ? FrameVerdict::good : FrameVerdict::bad_length;
}

} // namespace turnstone
