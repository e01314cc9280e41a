#pragma once
/// Frames between flags with an escape byte inside (protocol/STUFFING.md): HDLC-like framing, SLIP and KISS.
///
///     hdlc   flag, skipped bytes, content, FCS-16 or FCS-32, flag
///     slip   END, content, CRC if there is one, END
///     kiss   FEND, port and command, content, FEND
///
/// The content is a space packet, or with an APID the content of one; of an AX.25 UI frame it is the information field,
/// or the frame as it is.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "protocol/coding/octet_stuffing.hpp"
#include "protocol/framing/crc.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/ax25.hpp"
#include "protocol/packet/payload_packet.hpp"

namespace turnstone {

inline constexpr std::size_t kSkippedBytesMax = 16;
inline constexpr unsigned kKissPortMost = 15;

/// What frames have before their content.
enum class Ax25Head : unsigned char {
    none,
    removed, ///< the content is that of AX.25 UI frames
    kept     ///< Frame::packet is an AX.25 UI frame, without length or packet header
};

struct EscapedFormat {
    Stuffing stuffing = Stuffing::hdlc;
    std::optional<CrcKind> crc = {}; ///< over everything before it
    bool crc_little = true;
    std::size_t skipped_bytes = 0;     ///< before the content: address, control, protocol
    std::optional<unsigned> port = {}; ///< of KISS; empty: any
    Ax25Head ax25 = Ax25Head::none;
    std::optional<std::uint16_t> apid = {}; ///< the content is a payload and becomes a packet of this APID
    [[nodiscard]] std::size_t crc_bytes() const noexcept { return crc ? crc->bytes() : 0; }
};

/// With every byte escaped, but never more than a run that is reported in one piece.
[[nodiscard]] constexpr std::size_t escaped_frame_bytes_max(std::size_t packet_bytes) noexcept {
    constexpr std::size_t kKindBytes = 1, kCrcBytesMax = 4;
    const std::size_t plain = kKindBytes + kSkippedBytesMax + kAx25HeadBytesMax + packet_bytes + kCrcBytesMax;
    return std::clamp(2 * plain + 2, kFrameBytesMax, kTooLongBytesMax);
}

/// A flag right before a frame belongs to it; further ones are dropped and not reported.
class EscapedDeframer final : public DelimitedDeframer {
  public:
    explicit EscapedDeframer(const EscapedFormat& format, std::size_t packet_bytes_max = kFrameBytesMax);

    /// As DelimitedDeframer; packets made of payloads are not counted either.
    [[nodiscard]] Frame judge(std::span<const std::byte> bytes) noexcept;

  private:
    FrameVerdict unpack(std::span<const std::byte> stuffed, std::span<const std::byte>& packet) noexcept override;

    EscapedFormat format_;
    std::optional<Crc> crc_;
    std::vector<std::byte> plain_;
    std::optional<PayloadPacket> packet_;
};

/// For tests and simulators: both flags, `content` with what stands before and after it. What is skipped, and the port
/// of KISS where none is given, is zero. `control_map`: see stuff().
[[nodiscard]] std::vector<std::byte>
encode_escaped_frame(const EscapedFormat& format, std::span<const std::byte> content, std::uint32_t control_map = 0);

} // namespace turnstone
