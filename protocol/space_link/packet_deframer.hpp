#pragma once
/// Space packets one behind the other (protocol/TM.md, section 5), with a sync word before each or without: files of
/// packets, and streams that others have taken out of their frames.
///
/// Nothing checks a packet. What tells it from noise is a header that can be: version 0, an APID that is known, no
/// more bytes than a packet has. Behind a packet the next is taken by its own header; where one is
/// searched for, the header behind it has to be right too.
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

#include "protocol/framing/deframer.hpp"
#include "protocol/framing/frame.hpp"
#include "protocol/framing/held_bytes.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {

inline constexpr std::size_t kApids = 2048; ///< what eleven bits tell apart

struct KnownPackets {
    std::bitset<kApids> apids;        ///< without that of idle packets, which are always known
    std::size_t packet_bytes_max = 0; ///< kFrameBytesMax at least
};

/// Streaming; any split of the input gives the same frames. Never throws, never allocates once it is made.
class PacketDeframer {
  public:
    PacketDeframer(std::vector<std::byte> sync, const KnownPackets& known);

    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        counts_.bytes_in += bytes.size();
        while (!bytes.empty()) {
            bytes = bytes.subspan(held_.fill(bytes));
            Frame frame{};
            Step step{};
            do {
                follow(on_frame);
                step = search(frame);
                if (step == Step::frame) on_frame(static_cast<const Frame&>(frame));
            } while (step != Step::wait);
        }
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return held_.rest(); }

  private:
    enum class Step : unsigned char { wait, frame, on };
    enum class Look : unsigned char { right, wrong, too_few };
    /// Packets that stand whole behind one another, which nearly all do: what search() would find, without its
    /// questions. Ends at the first that is not so.
    template <class OnFrame>
    void follow(OnFrame& on_frame) {
        if (!is_found_ || run_ > 0) return;
        const std::size_t sync = sync_.size(), head = sync + kPrimaryHeaderBytes;
        for (std::span<const std::byte> rest = pending(); rest.size() >= head;) {
            if (sync > 0 && std::memcmp(rest.data(), sync_.data(), sync) != 0) return;
            const auto header = decode_primary_header(rest.subspan(sync));
            const std::size_t size = head + 1 + header->packet_data_length;
            if (!can_be(*header) || rest.size() < size) return;
            const Frame frame{FrameVerdict::good, held_.offset(), static_cast<std::uint32_t>(size),
                              rest.subspan(sync, size - sync)};
            rest = rest.subspan(size);
            held_.pass(size);
            counts_.bytes_framed += size;
            ++counts_.frames_good;
            on_frame(frame);
        }
    }
    Step search(Frame& frame) noexcept;
    [[nodiscard]] bool can_be(const PrimaryHeader& header) const noexcept {
        const bool known = header.apid == kIdleApid || known_.apids.test(header.apid);
        const bool fits = kPrimaryHeaderBytes + 1 + header.packet_data_length <= known_.packet_bytes_max;
        return header.packet_version_number == 0 && known && fits;
    }
    /// Of sync word and header.
    [[nodiscard]] Look look_at(std::span<const std::byte> bytes) const noexcept;
    [[nodiscard]] std::size_t frame_bytes(std::span<const std::byte> bytes) const noexcept;

    DeframerCounts counts_;
    std::vector<std::byte> sync_;
    KnownPackets known_;
    HeldBytes held_;
    std::size_t run_ = 0;  ///< bytes dropped and not reported, all before what is held
    bool is_found_ = true; ///< a packet ended here, or the stream begins
};

} // namespace turnstone
