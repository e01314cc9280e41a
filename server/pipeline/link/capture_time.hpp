#pragma once
/// Gives a capture its times back. A capture holds bytes, not when they came. Read at full speed they come all at once:
/// by receive times every gap would look like a restart, and a flight would be over in a second. So the bytes are cut
/// into pieces, and each is taken to have come when, by the vehicle's own clock, the packet that ends it was made.
///
/// A step of the clock by more than a few seconds, forward or back, is believed when the next packet agrees with it:
/// until that has come, the bytes are held. Forward it is a gap; back it is a restart of the vehicle's computer,
/// of which only the time since its boot is known, not how long it was off.
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "protocol/reading/frame_reader.hpp"

namespace turnstone {

class CaptureTime {
  public:
    /// Called with each piece in order; times never go back.
    using OnPiece = std::function<void(std::int64_t t_ns, std::span<const std::byte> bytes)>;

    /// The dictionary must outlive this.
    CaptureTime(const Framing& framing, const Dictionary& dictionary);

    /// Bytes as they were read at `t_now_ns`, which is the time of the first piece.
    void read(std::int64_t t_now_ns, std::span<const std::byte> bytes, const OnPiece& on_piece);
    /// No more bytes come: hands on what is held.
    void end(const OnPiece& on_piece);

  private:
    struct Stamp {
        std::uint64_t stream_end; ///< of the frame, counted from the capture's first byte
        std::int64_t raw_ns;      ///< the counter in it
    };
    [[nodiscard]] std::int64_t step(std::int64_t from_raw_ns, std::int64_t to_raw_ns) const noexcept;
    /// Moves the time on to a packet's; false: the next packet has to decide.
    bool follow(std::int64_t raw_ns, std::optional<std::int64_t> next_raw_ns) noexcept;
    void hand_on(bool at_end, const OnPiece& on_piece);
    /// Hands on what is held up to this place in the capture.
    void piece(std::int64_t t_ns, std::uint64_t stream_end, const OnPiece& on_piece);

    const Dictionary* dictionary_;
    FrameReader reader_;
    std::int64_t rollover_ns_; ///< of the first of Dictionary::clocks
    std::vector<std::byte> held_;
    std::uint64_t held_from_ = 0; ///< place of its first byte in the capture
    std::uint64_t handed_on_ = 0; ///< bytes of the capture
    std::uint64_t followed_ = 0;  ///< end of the newest frame that is timed
    std::vector<Stamp> stamps_;   ///< of frames in `held_`
    bool started_ = false;
    std::int64_t raw_ns_ = 0;     ///< counter at t_ns_
    std::int64_t t_ns_ = 0;       ///< how far the capture's time has come
    std::int64_t t_piece_ns_ = 0; ///< of the newest piece
};

} // namespace turnstone
