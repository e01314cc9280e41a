#pragma once
/// Telemetry transfer frames (CCSDS 132.0-B-3, 4.1), and the packets that their virtual channels carry. Primary header,
/// six bytes, most significant bit first:
///
///   bits  0-1  transfer frame version number (00)    bits 24-31 virtual channel frame count
///   bits  2-11 spacecraft identifier                 bit  32    secondary header flag
///   bits 12-14 virtual channel identifier            bit  33    synchronization flag (0: packets)
///   bit  15    operational control field flag        bits 34-36 packet order flag, segment length identifier (0, 11)
///   bits 16-23 master channel frame count            bits 37-47 first header pointer
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "protocol/coding/tm_format.hpp"

namespace turnstone {

inline constexpr std::size_t kTransferHeaderBytes = 6;
inline constexpr std::uint16_t kNoPacketStarts = 2047, kOnlyIdleData = 2046; ///< of the first header pointer
inline constexpr std::size_t kControlFieldBytes = 4, kErrorControlBytes = 2;

struct TransferHeader {
    std::uint8_t version = 0;
    std::uint16_t spacecraft = 0;
    std::uint8_t virtual_channel = 0;
    bool has_control_field = false;
    std::uint8_t master_count = 0, channel_count = 0;
    bool has_secondary_header = false;
    bool is_synchronous = false;                ///< the data field holds no packets
    std::uint8_t order_and_segment = 3;         ///< packet order flag and segment length identifier
    std::uint16_t first_header = kOnlyIdleData; ///< where in the data field the first packet header is
    friend bool operator==(const TransferHeader&, const TransferHeader&) = default;
};

/// Of kTransferHeaderBytes bytes and more.
[[nodiscard]] TransferHeader decode_transfer_header(std::span<const std::byte> frame) noexcept;
[[nodiscard]] std::array<std::byte, kTransferHeaderBytes> encode_transfer_header(const TransferHeader& header) noexcept;

/// Puts the packets of transfer frames together. A packet that a lost frame cut is given up; what follows begins at the
/// next frame's first header pointer.
class PacketAssembly {
  public:
    /// Packets longer than `packet_bytes_max` are given cut off there, which the decoder takes for what they are.
    PacketAssembly(const TmFormat& format, std::size_t packet_bytes_max);

    struct Counts {
        std::uint64_t frames_lost = 0;                   ///< by the counts of the virtual channels
        std::uint64_t packets_cut = 0;                   ///< begun, and not ended
        std::uint64_t malformed = 0;                     ///< frames whose data field is not what their header says
        std::optional<std::uint32_t> control_field = {}; ///< the newest
    };

    /// The packets that end in this frame; valid until the next call, and only while the frame is.
    std::span<const std::span<const std::byte>> take(std::span<const std::byte> frame) noexcept;
    [[nodiscard]] const Counts& counts() const noexcept { return counts_; }

  private:
    struct Channel {
        std::vector<std::byte> begun; ///< of a packet that goes on in the next frame
        std::size_t size = 0;         ///< of it so far, also beyond what is kept
        std::optional<std::uint8_t> next_count = {};
    };
    /// Adds what belongs to the begun packet; returns how much that was.
    static std::size_t add(Channel& channel, std::span<const std::byte> bytes) noexcept;
    [[nodiscard]] static bool is_whole(const Channel& channel) noexcept;
    void give_up(Channel& channel) noexcept;
    void give(Channel& channel) noexcept;
    void read(Channel& channel, std::span<const std::byte> data, std::uint16_t first_header) noexcept;

    TmFormat format_;
    std::array<Channel, kVirtualChannels> channels_;
    std::vector<std::byte> whole_; ///< the packet that ended, when it began in a frame before
    std::vector<std::span<const std::byte>> packets_;
    Counts counts_;
};

} // namespace turnstone
