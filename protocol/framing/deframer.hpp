#pragma once
/// Frames that end in a delimiter byte, and of those the default framing of protocol/LINK.md: 0x00-delimited COBS
/// around (space packet, CRC-16/IBM-3740). Invariant after every call: bytes in = framed + dropped + pending, all three
/// counting link bytes with delimiters.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/frame.hpp"

namespace turnstone {

/// Largest frame on the link, delimiter included, of vehicles whose packets are all short. Far more than a hobby radio
/// carries in a packet. It bounds memory, and what one damaged delimiter can cost.
inline constexpr std::size_t kFrameBytesMax = 1024;

/// The same for a vehicle whose largest packet has `packet_bytes`: CRC, worst-case stuffing and delimiter on top.
[[nodiscard]] constexpr std::size_t frame_bytes_max(std::size_t packet_bytes) noexcept {
    const std::size_t checked_bytes = packet_bytes + kCrc16Bytes;
    return std::max(kFrameBytesMax, checked_bytes + cobs_overhead_max(checked_bytes) + 1);
}

/// Whether a packet is as long as its own length field says, and has a byte of data (CCSDS 133.0-B-2, 4.1).
[[nodiscard]] bool has_its_length(std::span<const std::byte> packet) noexcept;

/// Streaming; any split of the input gives the same frames. Never throws, never allocates once it is made.
class DelimitedDeframer {
  public:
    virtual ~DelimitedDeframer() = default;

    /// Calls `on_frame(const Frame&)` for each closed frame, in order. Repeated delimiters are not frames: they
    /// count as dropped and are not reported. A frame that grows too long counts as dropped from there on, with nothing
    /// pending, and is reported whenever kTooLongBytesMax of it have come and when its delimiter comes.
    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        counts_.bytes_in += bytes.size();
        while (!bytes.empty()) {
            const std::span<const std::byte> next = bytes.first(std::min(bytes.size(), room()));
            const void* delimiter = std::memchr(next.data(), std::to_integer<int>(delimiter_), next.size());
            Frame frame{};
            if (delimiter == nullptr) {
                hold(next);
                if (room() == 0) {
                    close_piece(frame);
                    on_frame(static_cast<const Frame&>(frame));
                }
                bytes = bytes.subspan(next.size());
                continue;
            }
            const auto size = static_cast<std::size_t>(static_cast<const std::byte*>(delimiter) - bytes.data());
            if (close(bytes.first(size), frame)) on_frame(static_cast<const Frame&>(frame));
            bytes = bytes.subspan(size + 1);
        }
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    /// Bytes received since the last delimiter, as received (less than a largest frame), after the delimiter that may
    /// have opened the frame; none while a frame that is too long is being skipped.
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return {held_.data(), size_}; }
    /// The frame that these bytes are, as they stand between two delimiters. Nothing is counted, and what push has
    /// collected stays.
    [[nodiscard]] Frame judge(std::span<const std::byte> bytes) noexcept;

  protected:
    /// `may_open`: one delimiter right before a frame belongs to it.
    DelimitedDeframer(std::byte delimiter, bool may_open, std::size_t frame_size_max)
        : delimiter_(delimiter), may_open_(may_open), frame_size_max_(frame_size_max), held_(frame_size_max) {}
    DelimitedDeframer(const DelimitedDeframer&) = default;
    DelimitedDeframer(DelimitedDeframer&&) = default;
    DelimitedDeframer& operator=(const DelimitedDeframer&) = default;
    DelimitedDeframer& operator=(DelimitedDeframer&&) = default;

    /// What stands between two delimiters, one byte at least, to a packet that is valid until the next call.
    virtual FrameVerdict unpack(std::span<const std::byte> stuffed, std::span<const std::byte>& packet) noexcept = 0;

  private:
    /// How many more bytes the piece at hand takes.
    [[nodiscard]] std::size_t room() const noexcept {
        return kTooLongBytesMax - static_cast<std::size_t>(skipped_) - size_;
    }
    /// Keeps bytes without a delimiter for the next push.
    void hold(std::span<const std::byte> bytes) noexcept;
    /// A delimiter came after `bytes`, which follow what is held. False: an empty frame.
    bool close(std::span<const std::byte> bytes, Frame& frame) noexcept;
    /// A delimiter came with nothing before it, or only another.
    void repeat() noexcept;
    /// Ends a full piece of a run that is too long and goes on with the next.
    void close_piece(Frame& frame) noexcept;

    DeframerCounts counts_;
    std::byte delimiter_;
    bool may_open_;
    std::size_t frame_size_max_;
    std::vector<std::byte> held_;
    std::size_t size_ = 0;      ///< of what `held_` holds
    std::size_t opening_ = 0;   ///< 1: of these the first is a delimiter
    std::uint64_t offset_ = 0;  ///< of the current frame's first byte in the stream
    std::uint64_t skipped_ = 0; ///< bytes of the piece at hand already counted as dropped
    bool too_long_ = false;     ///< of the frame at hand: everything up to its delimiter is dropped
};

class Deframer final : public DelimitedDeframer {
  public:
    explicit Deframer(std::size_t frame_size_max = kFrameBytesMax)
        : DelimitedDeframer(std::byte{0}, false, frame_size_max), packet_(frame_size_max) {}

  private:
    FrameVerdict unpack(std::span<const std::byte> stuffed, std::span<const std::byte>& packet) noexcept override;

    std::vector<std::byte> packet_;
};

} // namespace turnstone
