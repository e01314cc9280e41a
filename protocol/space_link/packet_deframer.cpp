#include "protocol/space_link/packet_deframer.hpp"

#include <algorithm>
#include <cstring>

#include "protocol/packet/space_packet.hpp"

namespace turnstone {

PacketDeframer::PacketDeframer(std::vector<std::byte> sync, const KnownPackets& known)
    : sync_(std::move(sync)), known_(known) {
    known_.packet_bytes_max = std::max(known_.packet_bytes_max, kFrameBytesMax);
    held_.resize(2 * (known_.packet_bytes_max + 2 * (sync_.size() + kPrimaryHeaderBytes)));
}

std::size_t PacketDeframer::fill(std::span<const std::byte> bytes) noexcept {
    if (at_ > 0) {
        std::memmove(held_.data(), held_.data() + at_, size_ - at_);
        size_ -= at_;
        at_ = 0;
    }
    const std::size_t taken = std::min(bytes.size(), held_.size() - size_);
    std::memcpy(held_.data() + size_, bytes.data(), taken);
    size_ += taken;
    return taken;
}

PacketDeframer::Look PacketDeframer::look_at(std::span<const std::byte> bytes) const noexcept {
    const std::size_t compared = std::min(bytes.size(), sync_.size());
    if (compared > 0 && std::memcmp(bytes.data(), sync_.data(), compared) != 0) return Look::wrong;
    if (bytes.size() < sync_.size() + kPrimaryHeaderBytes) return Look::too_few;
    const auto header = decode_primary_header(bytes.subspan(sync_.size()));
    const bool known = header->apid == kIdleApid || known_.apids.test(header->apid);
    const bool fits = kPrimaryHeaderBytes + 1 + header->packet_data_length <= known_.packet_bytes_max;
    return header->packet_version_number == 0 && known && fits ? Look::right : Look::wrong;
}

std::size_t PacketDeframer::frame_bytes(std::span<const std::byte> bytes) const noexcept {
    const auto header = decode_primary_header(bytes.subspan(sync_.size()));
    return sync_.size() + kPrimaryHeaderBytes + 1 + header->packet_data_length;
}

PacketDeframer::Step PacketDeframer::search(Frame& frame) noexcept {
    const std::span<const std::byte> rest = pending();
    if (rest.empty()) return Step::wait;
    const auto report = [&] {
        frame = {FrameVerdict::outside, offset_ - run_, static_cast<std::uint32_t>(run_), {}};
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
        ++at_;
        ++offset_;
        ++run_;
        ++counts_.bytes_dropped;
        return Step::on;
    }
    is_found_ = true;
    if (run_ > 0) return report();
    const std::size_t size = frame_bytes(rest);
    frame = {FrameVerdict::good, offset_, static_cast<std::uint32_t>(size),
             rest.subspan(sync_.size(), size - sync_.size())};
    at_ += size;
    offset_ += size;
    counts_.bytes_framed += size;
    ++counts_.frames_good;
    return Step::frame;
}

} // namespace turnstone
