#pragma once
/// A telemetry stream of CCSDS 131.0-B and 132.0-B (protocol/TM.md): finds the attached sync marker at any bit and of
/// either polarity, undoes what the code did, and takes the packets out of the transfer frames.
///
///     +--------+----------------------------------------------+--------+----- …
///     | marker | block: transfer frame, Reed-Solomon parity    | marker |
///     +--------+----------------------------------------------+--------+----- …
///
/// Where a marker is due, behind a good frame, more of its bits may be wrong than where one is searched for. A block
/// that cannot be read costs nothing but itself: the search goes on one bit behind its first.
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "protocol/coding/reed_solomon.hpp"
#include "protocol/coding/tm_format.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/framing/frame.hpp"
#include "protocol/space_link/channel_bits.hpp"
#include "protocol/space_link/transfer_frame.hpp"

namespace turnstone {

/// What the code tells of the link.
struct CodeFigures {
    std::uint64_t frames = 0;            ///< good transfer frames
    std::uint64_t frames_lost = 0;       ///< by the counts of their virtual channels
    std::uint64_t packets_cut = 0;       ///< by lost frames
    std::uint64_t symbols_corrected = 0; ///< by Reed-Solomon
    std::uint64_t symbols_checked = 0;
    std::uint64_t channel_symbols = 0;               ///< of the convolutional code, in good frames
    std::uint64_t channel_errors = 0;                ///< of these wrong
    std::uint64_t bit_slips = 0;                     ///< markers a few bits off their place
    unsigned marker_errors = 0;                      ///< bits of the newest marker
    bool is_inverted = false;                        ///< the newest frame's bits
    unsigned worst_corrected = 0;                    ///< symbols of one codeword, since begin_period()
    std::optional<std::uint32_t> control_field = {}; ///< the newest
};

/// Frame::packet is a space packet that ended in a transfer frame, each with its part of the frame's bytes; empty when
/// none did. A byte that two frames share counts with the later one. Streaming; any split of the input gives the same
/// frames. Never throws, never allocates once it is made.
class TmDeframer {
  public:
    explicit TmDeframer(const TmFormat& format, std::size_t packet_bytes_max = kFrameBytesMax);

    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        counts_.bytes_in += bytes.size();
        for (bool goes_on = true; goes_on;) {
            const std::size_t taken = bits_.take(bytes);
            bytes = bytes.subspan(taken);
            const bool made = bits_.make_bits();
            Frame frame{};
            for (Step step = search(frame); step != Step::wait; step = search(frame))
                if (step == Step::frame) on_frame(static_cast<const Frame&>(frame));
            bits_.forget(at_, accounted_);
            goes_on = made || !bytes.empty();
        }
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return bits_.link_from(accounted_); }
    /// As push, of the block that these bytes are, as Frame::received has it: its packets go on from the last frame's.
    /// Its place in the stream is not counted, and the search stays where it is.
    template <class OnFrame>
    void judge(std::span<const std::byte> received, OnFrame&& on_frame) {
        Frame frame = judge_block(received);
        on_frame(static_cast<const Frame&>(frame));
        for (std::size_t k = 1; frame.verdict == FrameVerdict::good && k < packets_.size(); ++k) {
            frame.packet = packets_[k];
            on_frame(static_cast<const Frame&>(frame));
        }
    }
    [[nodiscard]] const CodeFigures& figures() const noexcept { return figures_; }
    /// The worst begins again.
    void begin_period() noexcept { figures_.worst_corrected = 0; }

  private:
    enum class Step : unsigned char { wait, frame, on };
    static constexpr std::uint64_t kNever = std::numeric_limits<std::uint64_t>::max();

    /// One step of the search: `frame` is filled when it gives one.
    Step search(Frame& frame) noexcept;
    /// A marker stands at `start`, or is taken to: reads the block behind it.
    Step read_block(std::uint64_t start, Frame& frame) noexcept;
    /// Whether symbols of the convolutional code are those of a marker at `at_`, where one is due: they tell more than
    /// the bits that the decoder made of them.
    [[nodiscard]] bool symbols_are_due() const noexcept;
    /// Where a block may begin that is looked for at `at_`: there, or a few bits before it. Empty: neither.
    [[nodiscard]] std::optional<std::uint64_t> start_here() const noexcept;
    [[nodiscard]] unsigned marker_errors(std::uint64_t bit) const noexcept;
    [[nodiscard]] bool is_inverted(std::uint64_t start) const noexcept;
    /// Undoes inversion, randomizer and code.
    FrameVerdict decode(std::uint64_t start) noexcept;
    FrameVerdict decode_block() noexcept;
    FrameVerdict correct() noexcept;
    Frame judge_block(std::span<const std::byte> received) noexcept;
    /// Keeps the block at hand for other receivers' copies: as it came, and as it was sent.
    void keep_received() noexcept;
    void keep_sent() noexcept;
    Step give_packet(Frame& frame) noexcept;
    /// Nothing begins before `bit`: goes there, or as far as one report reaches.
    void skip_to(std::uint64_t bit) noexcept;
    /// Reports what was dropped; what is dropped from here on is `next`.
    Step end_run(FrameVerdict next, Frame& frame) noexcept;

    DeframerCounts counts_;
    TmFormat format_;
    ChannelBits bits_;
    PacketAssembly assembly_;
    std::optional<ReedSolomon> code_;
    std::vector<std::byte> block_;
    std::vector<std::byte> codeword_;
    CodeFigures figures_;
    // of the block at hand
    unsigned corrected_ = 0, worst_ = 0;
    bool inverted_ = false;

    std::uint64_t at_ = 0;         ///< bit where the search is
    std::uint64_t accounted_ = 0;  ///< bytes of the link framed or dropped
    std::uint64_t due_ = kNever;   ///< bit where a marker is expected
    std::uint64_t newest_end_ = 0; ///< bit behind the newest good frame
    unsigned missed_ = 0;          ///< markers in a row that did not stand where they were due
    std::uint64_t pair_until_;     ///< bit without a good frame or a due marker from which symbols are paired otherwise
    std::uint64_t run_ = 0;        ///< bytes dropped and not reported, all before `accounted_`
    FrameVerdict run_verdict_ = FrameVerdict::outside;
    bool failed_ = false;         ///< of the block at `at_`, whose run is reported before it is dropped
    std::uint64_t start_ = 0;     ///< of that block's marker
    bool run_is_block_ = false;   ///< the run begins with what is kept
    std::vector<std::byte> kept_; ///< see keep_received()
    ViterbiDecoder judge_decoder_;
    // The frame whose packets are being given.
    std::span<const std::byte> sent_; ///< its block
    std::span<const std::span<const std::byte>> packets_;
    std::size_t given_ = 0, to_give_ = 0;
    std::uint64_t frame_offset_ = 0, frame_link_bytes_ = 0;
};

} // namespace turnstone
