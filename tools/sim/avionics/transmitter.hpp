#pragma once
/// The vehicle's clock, and the serial queue of its radio: frames leave one after another at the radio's rate.
#include <algorithm>
#include <array>
#include <cstdint>
#include <vector>

#include "tools/sim/radio/impairment.hpp"

namespace turnstone::sim {

/// The on-board clock against true time: milliseconds since boot. A reboot starts it again at zero.
struct OnboardClock {
    double at_start_s; ///< reading at the start of the run
    double drift_ppm;  ///< fast when positive
    double rebooted_s; ///< true time of the restart; NaN: none
    [[nodiscard]] std::uint32_t read_ms(double t_s) const;
};

class Transmitter {
  public:
    static constexpr std::uint16_t kApidFirst = 16;
    static constexpr std::size_t kFrameBytesMax = 1024;

    /// `byte_s`: ten bits of its line.
    Transmitter(const OnboardClock& clock, double byte_s) : clock_(clock), byte_s_(byte_s) {}

    /// `encode(out, size, sequence_count, time_ms)` writes one frame and returns its size. The packet is made at
    /// `t_made_s` and says that its contents are of `t_stamp_s`.
    template <class Encode>
    void send(std::uint16_t apid, double t_made_s, double t_stamp_s, const Encode& encode) {
        const std::uint32_t onboard_ms = clock_.read_ms(t_stamp_s);
        std::uint16_t& sequence = sequence_[apid - kApidFirst];
        std::array<std::uint8_t, kFrameBytesMax> frame;
        const std::size_t size = encode(frame.data(), frame.size(), sequence, onboard_ms);
        const double begin_s = std::max(t_made_s + kProcessing_s, free_s_);
        free_s_ = begin_s + byte_s_ * static_cast<double>(size);
        stream_.packets.push_back({.apid = apid,
                                   .sequence_count = sequence,
                                   .onboard_ms = onboard_ms,
                                   .t_made_s = t_made_s,
                                   .t_begin_s = begin_s,
                                   .t_end_s = free_s_,
                                   .offset = stream_.bytes.size(),
                                   .size = size});
        stream_.bytes.insert(stream_.bytes.end(), frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size));
        sequence = static_cast<std::uint16_t>((sequence + 1U) % 16384U);
    }
    /// The k-th packet of the stream once more, as it was.
    void send_again(std::size_t k, double t_made_s) {
        SentPacket packet = stream_.packets[k];
        packet.t_made_s = t_made_s;
        packet.t_begin_s = std::max(t_made_s + kProcessing_s, free_s_);
        packet.t_end_s = free_s_ = packet.t_begin_s + byte_s_ * static_cast<double>(packet.size);
        const auto first = stream_.bytes.begin() + static_cast<std::ptrdiff_t>(packet.offset);
        const std::vector<std::uint8_t> copy(first, first + static_cast<std::ptrdiff_t>(packet.size));
        packet.offset = stream_.bytes.size();
        stream_.bytes.insert(stream_.bytes.end(), copy.begin(), copy.end());
        stream_.packets.push_back(packet);
    }
    void restart() { sequence_.fill(0); }
    [[nodiscard]] PacketStream& stream() { return stream_; }

  private:
    static constexpr double kProcessing_s = 0.0008;

    OnboardClock clock_;
    double byte_s_;
    std::array<std::uint16_t, 8> sequence_{};
    double free_s_ = 0.0;
    PacketStream stream_;
};

} // namespace turnstone::sim
