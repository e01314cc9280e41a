#include "protocol/space_link/packet_deframer.hpp"

#include <algorithm>

namespace turnstone {

PacketDeframer::PacketDeframer(std::vector<std::byte> sync, const KnownPackets& known)
    : sync_(std::move(sync)), known_(known),
      held_(2 * (std::max(known.packet_bytes_max, kFrameBytesMax) + 2 * (sync_.size() + kPrimaryHeaderBytes))) {
    known_.packet_bytes_max = std::max(known_.packet_bytes_max, kFrameBytesMax);
}

PacketDeframer::Look PacketDeframer::look_at(std::span<const std::byte> bytes) const noexcept {
    const std::size_t compared = std::min(bytes.size(), sync_.size());
    if (compared > 0 && std::memcmp(bytes.data(), sync_.data(), compared) != 0) return Look::wrong;
    if (bytes.size() < sync_.size() + kPrimaryHeaderBytes) return Look::too_few;
    return can_be(*decode_primary_header(bytes.subspan(sync_.size()))) ? Look::right : Look::wrong;
}

std::size_t PacketDeframer::frame_bytes(std::span<const std::byte> bytes) const noexcept {
    const auto header = decode_primary_header(bytes.subspan(sync_.size()));
    return sync_.size() + kPrimaryHeaderBytes + 1 + header->packet_data_length;
}

PacketDeframer::Step PacketDeframer::search(Frame& frame) noexcept {
    const std::span<const std::byte> rest = pending();
    if (rest.empty()) return Step::wait;
    const auto report = [&] {
        frame = {FrameVerdict::outside, held_.offset() - run_, static_cast<std::uint32_t>(run_), {}};
        ++counts_.frames_bad;
        run_ = 0;
        return Step::frame;
    };
    if (run_ >= kTooLongBytesMax) return report();
    Look look = look_at(rest);
    if (look == Look::too_few) return Step::wait;
    if (look == Look::right) {
        const std::size_t size = frame_bytes(rest);
        if (rest.size() < size) return Step::wait;
        if (!is_found_) look = look_at(rest.subspan(size));
        if (look == Look::too_few) return Step::wait;
    }
    if (look == Look::wrong) {
        is_found_ = false;
        held_.pass(1);
        ++run_;
        ++counts_.bytes_dropped;
        return Step::on;
    }
    is_found_ = true;
    if (run_ > 0) return report();
    const std::size_t size = frame_bytes(rest);
    frame = {FrameVerdict::good, held_.offset(), static_cast<std::uint32_t>(size),
             rest.subspan(sync_.size(), size - sync_.size())};
    held_.pass(size);
    counts_.bytes_framed += size;
    ++counts_.frames_good;
    return Step::frame;
}

} // namespace turnstone
