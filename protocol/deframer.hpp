#pragma once
/// Default framing of protocol/LINK.md: 0x00-delimited COBS around (space packet, CRC-16/IBM-3740).
/// Invariant after every call: bytes in = framed + dropped + pending, all three counting link bytes with delimiters.
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace turnstone {

/// Largest frame on the link, delimiter included. 512 octets of packet is far above what a hobby radio carries; it
/// bounds memory and the bytes one damaged delimiter can cost.
inline constexpr std::size_t kFrameOctetsMax = 1024;

enum class FrameVerdict : unsigned char {
    good,        ///< unstuffed, CRC correct, packet length consistent
    bad_cobs,    ///< a code octet points past the delimiter
    bad_crc,
    bad_length,  ///< CRC correct, but the packet data length field disagrees, or shorter than the least packet
    too_long     ///< no delimiter within kFrameOctetsMax; skipped up to the next delimiter
};

/// What one delimiter closed. `packet` is valid during the callback only.
struct Frame {
    FrameVerdict verdict;
    std::uint64_t stream_offset;       ///< of the frame's first byte, counted from the deframer's start
    std::uint32_t link_octets;         ///< bytes on the link, delimiter included
    std::span<const std::byte> packet; ///< space packet without the CRC; best effort when the verdict is not good
};

struct DeframerCounts {
    std::uint64_t bytes_in = 0;
    std::uint64_t bytes_framed = 0;  ///< in good frames
    std::uint64_t bytes_dropped = 0; ///< in everything else, empty frames (repeated delimiters) included
    std::uint64_t frames_good = 0;
    std::uint64_t frames_bad = 0;
};

/// Streaming; any split of the input gives the same frames. Never throws, never allocates.
class Deframer {
  public:
    /// Calls `on_frame(const Frame&)` for each closed frame, in order.
    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame);

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    /// Bytes received since the last delimiter, exactly as they came (at most kFrameOctetsMax).
    [[nodiscard]] std::span<const std::byte> pending() const noexcept;

  private:
    DeframerCounts counts_;
    std::array<std::byte, kFrameOctetsMax> stuffed_{};
    std::array<std::byte, kFrameOctetsMax> packet_{};
    std::size_t size_ = 0;
    bool skipping_ = false;
};

} // namespace turnstone
