#pragma once
/// Packets to a telemetry stream, for tests and simulators: what TmDeframer undoes.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "protocol/coding/convolutional.hpp"
#include "protocol/coding/reed_solomon.hpp"
#include "protocol/coding/tm_format.hpp"
#include "protocol/space_link/transfer_frame.hpp"

namespace turnstone {

class TmEncoder {
  public:
    /// Frames of one virtual channel. `control_field`: in each.
    TmEncoder(const TmFormat& format, std::uint16_t spacecraft, std::uint8_t virtual_channel,
              std::optional<std::uint32_t> control_field = {});

    /// Appends the frames that this packet fills to `link`. Its first byte goes right behind the last of the one
    /// before.
    void packet(std::span<const std::byte> packet, std::vector<std::byte>& link);
    /// Fills the frame at hand with idle packets.
    void flush(std::vector<std::byte>& link);
    /// A frame of idle data alone, once flushed.
    void idle(std::vector<std::byte>& link);
    /// Appends one frame without randomizer, code or marker: what a data field holds, and where its first header is.
    [[nodiscard]] std::vector<std::byte> transfer_frame(std::span<const std::byte> data, std::uint16_t first_header);
    /// A transfer frame as it is sent, with its marker.
    void send(std::vector<std::byte> frame, std::vector<std::byte>& link);

    [[nodiscard]] std::size_t data_bytes() const noexcept;

  private:
    void send_bits(std::span<const std::byte> bytes, std::vector<std::byte>& link);

    TmFormat format_;
    TransferHeader header_;
    std::optional<std::uint32_t> control_field_;
    std::optional<ReedSolomon> code_;
    ConvolutionalEncoder convolution_;
    std::vector<std::byte> data_;             ///< of the frame at hand, and what follows it
    std::optional<std::size_t> first_header_; ///< in `data_`
};

} // namespace turnstone
