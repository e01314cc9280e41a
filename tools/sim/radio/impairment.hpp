#pragma once
/// What a radio does to framed packets: loss, bit errors, bursts, duplicates, delay, reordering, truncation,
/// and fades with range and with the antenna's direction. Seeded: the same packets and seed have the same fate.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

/// Probabilities are per framed packet unless a name says otherwise.
struct Impairment {
    double loss = 0.0;
    double bit_error = 0.0; ///< per bit
    double burst = 0.0;     ///< a run of random bytes over part of the packet
    std::size_t burst_bytes_max = 24;
    double duplicate = 0.0;
    double truncation = 0.0;       ///< the tail is cut off, delimiter included
    double delay_s = 0.0;          ///< constant latency
    double jitter_s = 0.0;         ///< mean of an exponential added to it; order is kept
    double reorder = 0.0;          ///< held back so that later packets overtake it
    double fades_per_minute = 0.0; ///< everything is lost for fade_s
    double fade_s = 2.0;
    double silent_from_s = 0.0; ///< everything is lost from here until then, seconds of the run
    double silent_until_s = 0.0;
    double range_half_m = 0.0; ///< range from the pad at which half the packets are lost with the antenna
                               ///< broadside; 0: no limit
};

/// "clean", "mild" (a good day) or "rough" (10 % loss and 2 s fades).
[[nodiscard]] std::optional<Impairment> impairment_from_name(std::string_view name);

/// One framed packet as the vehicle's transmitter sent it. Its bytes are in PacketStream::bytes.
struct SentPacket {
    std::uint16_t apid;
    std::uint16_t sequence_count;
    std::uint32_t onboard_ms; ///< the secondary header's time
    double t_made_s;          ///< when its contents were final
    double t_begin_s;         ///< first byte leaves the transmitter
    double t_end_s;           ///< last byte has left
    std::size_t offset;
    std::size_t size;
};

struct PacketStream {
    std::vector<SentPacket> packets;
    std::vector<std::uint8_t> bytes;
};

enum class Fate : unsigned char { delivered, lost, corrupted, truncated };
[[nodiscard]] std::string_view to_string(Fate fate);

/// The fate of one packet.
struct PacketFate {
    Fate fate = Fate::delivered;
    bool faded = false;      ///< lost to a fade or to range rather than to chance
    bool merged = false;     ///< the bytes before it on the line had lost their delimiter
    bool duplicated = false; ///< a second, undamaged copy follows
    bool reordered = false;
    std::uint32_t bytes_changed = 0;
    std::uint32_t bytes_cut = 0;
    double delay_s = 0.0;
    /// Copies that a receiver can decode: undamaged, and with a delimiter before them. The packet is lost if
    /// there is none (but for the one damaged frame in 65536 whose CRC happens to fit).
    std::uint32_t intact_copies = 0;
};

/// Bytes that reach the receiver, in the order of `t_begin_s`.
struct Delivery {
    double t_begin_s;
    double t_end_s;
    std::size_t packet; ///< index into PacketStream::packets
    std::size_t offset; ///< into DeliveredStream::bytes
    std::size_t size;
};

struct DeliveredStream {
    std::vector<PacketFate> fates; ///< one per sent packet
    std::vector<Delivery> deliveries;
    std::vector<std::uint8_t> bytes;
};

/// Received bytes never overlap in time: the receiver's output is one serial line of `byte_s` seconds a
/// byte. `receiver`: of several that listen, each with chances of its own.
[[nodiscard]] DeliveredStream impair(const PacketStream& sent, const Truth& truth, const Impairment& impairment,
                                     double byte_s, std::uint64_t seed, std::size_t receiver = 0);

} // namespace turnstone::sim
