#pragma once
/// Binary frames of other protocols (protocol/BINARY.md): a sync word, a length or a fixed size, a payload, a CRC; each
/// as described, each may be absent.
///
///     +------+--------+---------------+-----+
///     | sync | length | payload       | CRC |
///     +------+--------+---------------+-----+
///
/// At a sync the length is read and judged, then as many bytes are awaited, then the CRC decides. After a candidate
/// that fails the search goes on one byte behind its first: a false sync must not cost the good frame inside it.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <optional>
#include <span>
#include <vector>

#include "protocol/framing/crc.hpp"
#include "protocol/framing/frame.hpp"
#include "protocol/framing/held_bytes.hpp"
#include "protocol/packet/payload_packet.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// What the number in a length field counts.
enum class LengthCounts : unsigned char {
    payload,
    payload_and_crc,
    after_sync, ///< length, payload, CRC
    frame       ///< from sync to CRC
};
consteval auto words_of(LengthCounts) {
    return words<LengthCounts::frame>("payload", "payload_and_crc", "after_sync", "frame");
}

inline constexpr std::size_t kSyncBytesMax = 8;
inline constexpr std::size_t kPayloadBytesMax = 65'536;

struct BinaryFormat {
    std::vector<std::byte> sync;  ///< at most kSyncBytesMax; empty: the CRC alone finds frames of fixed size
    std::size_t length_bytes = 0; ///< 1, 2 or 4; 0: every payload has `payload_bytes`
    bool length_little = false;
    LengthCounts counts = LengthCounts::payload;
    std::size_t payload_bytes = 0;   ///< without a length: of every payload; with one: that a payload has at most
    std::optional<CrcKind> crc = {}; ///< empty: only the sync tells a frame from noise
    bool crc_little = false;
    bool crc_covers_sync = false, crc_covers_length = true; ///< before the payload
    std::uint16_t apid = 0;                                 ///< that the packets made of payloads have

    [[nodiscard]] std::size_t head_bytes() const noexcept { return sync.size() + length_bytes; }
    [[nodiscard]] std::size_t crc_bytes() const noexcept { return crc ? crc->bytes() : 0; }
    [[nodiscard]] std::size_t frame_bytes_max() const noexcept { return head_bytes() + payload_bytes + crc_bytes(); }
};

/// Frame::packet is a space packet whose user data is the payload; its count is given here. What is dropped is reported
/// from one failed candidate up to the next, and up to the next good frame; without a sync, where every byte begins a
/// candidate, by the size of a frame.
class BinaryDeframer {
  public:
    explicit BinaryDeframer(const BinaryFormat& format);

    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        counts_.bytes_in += bytes.size();
        while (!bytes.empty()) {
            bytes = bytes.subspan(held_.fill(bytes));
            Frame frame{};
            for (Step step = search(frame); step != Step::wait; step = search(frame))
                if (step == Step::frame) on_frame(static_cast<const Frame&>(frame));
        }
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return held_.rest(); }
    /// The frame that these bytes are. Nothing is counted, and what push has collected stays.
    [[nodiscard]] Frame judge(std::span<const std::byte> bytes) noexcept;

  private:
    enum class Step : unsigned char { wait, frame, on };
    /// One step of the search: `frame` is filled when it gives one.
    Step search(Frame& frame) noexcept;
    void skip(std::size_t bytes) noexcept;
    /// Reports what was dropped; what is dropped from here on is `next`.
    Step end_run(FrameVerdict next, Frame& frame) noexcept;
    [[nodiscard]] bool crc_fits(std::span<const std::byte> frame) const noexcept;
    /// Of a frame whose head is there; empty: its length cannot be.
    [[nodiscard]] std::optional<std::size_t> payload_bytes(std::span<const std::byte> frame) const noexcept;

    DeframerCounts counts_;
    BinaryFormat format_;
    std::optional<Crc> crc_;
    HeldBytes held_;
    PayloadPacket packet_;
    std::size_t run_ = 0; ///< bytes dropped and not reported, all before what is held
    FrameVerdict run_verdict_ = FrameVerdict::outside;
    FrameVerdict failed_ =
        FrameVerdict::good;            ///< of the candidate that is held, which is reported before it is dropped
    std::size_t failed_bytes_ = 0;     ///< of it, where its length can be
    std::vector<std::byte> run_bytes_; ///< of the run and of the candidate that it began with, for other copies
    std::size_t run_kept_ = 0;
};

/// For tests and simulators.
[[nodiscard]] std::vector<std::byte> encode_binary_frame(const BinaryFormat& format,
                                                         std::span<const std::byte> payload);

} // namespace turnstone
