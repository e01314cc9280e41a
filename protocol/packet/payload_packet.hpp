#pragma once
/// Makes space packets of payloads that another protocol carries, so that the dictionary reads both alike. The packets
/// are counted as they come: such a link cannot say what it lost.
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace turnstone {

class PayloadPacket {
  public:
    /// Allocates once, for payloads of at most `payload_bytes_max`.
    PayloadPacket(std::uint16_t apid, std::size_t payload_bytes_max);
    /// Valid until the next call. Of an empty payload a packet with a length that none can have.
    [[nodiscard]] std::span<const std::byte> of(std::span<const std::byte> payload) noexcept;
    /// The newest did not come by this link: the next has its count.
    void take_back() noexcept;

  private:
    std::uint16_t apid_;
    std::uint16_t sequence_count_ = 0;
    std::vector<std::byte> packet_;
};

} // namespace turnstone
