#pragma once
/// How a telemetry stream of transfer frames is sent (protocol/TM.md): CCSDS 131.0-B and 132.0-B.
#include <cstddef>
#include <cstdint>
#include <optional>

#include "shared/words.hpp"

namespace turnstone {

/// What a byte of the link holds.
enum class ChannelSymbols : unsigned char {
    bits, ///< eight bits, the first the highest
    hard, ///< eight symbols of the convolutional code, decided
    soft  ///< one symbol of it: 0 surely zero to 255 surely one
};
consteval auto words_of(ChannelSymbols) {
    return words<ChannelSymbols::soft>("bits", "hard", "soft");
}

inline constexpr std::size_t kMarkerBits = 32;
inline constexpr std::uint32_t kSyncMarker = 0x1ACFFC1D;
inline constexpr unsigned kInterleaveMost = 5;
inline constexpr unsigned kVirtualChannels = 8;
inline constexpr std::size_t kTransferFrameBytesMin = 16, kTransferFrameBytesMax = 2048;

struct TmFormat {
    std::size_t frame_bytes = 0; ///< of a transfer frame, with its error control field
    unsigned correctable = 0;    ///< symbols of a Reed-Solomon codeword: 16 or 8; 0: none
    unsigned interleave = 1;     ///< codewords of a block, at most kInterleaveMost; divides frame_bytes
    bool dual_basis = true;      ///< of Reed-Solomon symbols
    bool randomized = true;      ///< all but the marker
    bool error_control = true;   ///< the frame ends in a CRC-16
    ChannelSymbols symbols = ChannelSymbols::bits;
    std::optional<unsigned> virtual_channel = {}; ///< whose packets are read; empty: of all

    [[nodiscard]] bool is_checked() const noexcept { return correctable > 0 || error_control; }
    [[nodiscard]] std::size_t block_bytes() const noexcept {
        return frame_bytes + std::size_t{2} * correctable * interleave;
    }
    /// From one marker to the next.
    [[nodiscard]] std::size_t period_bits() const noexcept { return kMarkerBits + 8 * block_bytes(); }
};

} // namespace turnstone
