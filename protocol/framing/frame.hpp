#pragma once
/// What every way of framing gives: frames with a verdict, and an account of each byte. A deframer has
///
///     push(bytes, on_frame)   calls on_frame(const Frame&) for each closed frame, in order; any split of the input
///                             gives the same frames
///     counts()                bytes in = framed + dropped + pending, after every call
///     pending()               bytes of a frame that is not closed yet, as received; bounded
///
/// and never throws, and never allocates once it is made.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "shared/words.hpp"

namespace turnstone {

/// Bytes that belong to no frame are reported in pieces of this size, so that no report grows with the run: text on a
/// link may go on for hours. No less than the largest frame of any vehicle.
inline constexpr std::size_t kTooLongBytesMax = 131'072;

enum class FrameVerdict : unsigned char {
    good,
    bad_cobs,   ///< COBS: a code byte points past the delimiter
    bad_crc,    ///< the checksum does not fit
    bad_length, ///< COBS: CRC correct, but the packet data length field disagrees, or shorter than the least packet;
                ///< binary: a length that cannot be; HDLC-like: no room for the check
    too_long,   ///< no delimiter within the largest frame; skipped up to the next delimiter, kTooLongBytesMax at a time
    no_checksum,   ///< a line without the checksum that it must have
    not_text,      ///< a line with bytes that are not of its text
    cut_short,     ///< a sentence in which the next one begins
    outside,       ///< bytes that belong to no frame, up to where the next begins
    bad_escape,    ///< HDLC-like, SLIP, KISS: an escape byte before one that it cannot stand before, or before the end
    not_data,      ///< KISS: another command than data, or another port; AX.25: another frame than UI
    uncorrectable, ///< TM: more errors than the code corrects
    combined       ///< of no deframer: made of damaged copies from several links, and good
};
consteval auto words_of(FrameVerdict) {
    return words<FrameVerdict::combined>("good", "bad_cobs", "bad_crc", "bad_length", "too_long", "no_checksum",
                                         "not_text", "cut_short", "outside", "bad_escape", "not_data", "uncorrectable",
                                         "combined");
}

/// Bytes of the link that belong together. `packet` is valid during the callback only.
struct Frame {
    FrameVerdict verdict;
    std::uint64_t stream_offset; ///< of the frame's first byte, counted from the deframer's start
    std::uint32_t link_bytes;    ///< bytes on the link, delimiter included
    /// What it holds: a space packet, the characters of a sentence or of a line. Best effort when the verdict is not
    /// good.
    std::span<const std::byte> packet;
    /// What is compared with other receivers' copies (see CopyKind); empty: nothing. COBS, HDLC-like, SLIP: what stands
    /// between two delimiters. Binary: as long as its length says, and up to where the next frame begins. Telemetry
    /// stream: a block as it was received, of a good frame as it was sent.
    std::span<const std::byte> received = {};
};

/// What damaged copies of one frame from several receivers are to each other (protocol/LINK.md, section 3).
struct CopyKind {
    bool soft = false;                       ///< an octet is a symbol: 0 surely zero to 255 surely one
    double differ_most = 1.0 / 16;           ///< of their bits, or symbols; of one and the good frame half as many
    std::optional<std::byte> delimiter = {}; ///< between frames: a bit error makes or destroys one
    double wrong_passes = 1;                 ///< how often what is put together wrongly passes the check, at most
};

struct DeframerCounts {
    std::uint64_t bytes_in = 0;
    std::uint64_t bytes_framed = 0;  ///< in good frames
    std::uint64_t bytes_dropped = 0; ///< in everything else, repeated delimiters included
    std::uint64_t frames_good = 0;
    std::uint64_t frames_bad = 0;
};

} // namespace turnstone
