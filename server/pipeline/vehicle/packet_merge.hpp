#pragma once
/// One kind of packet of one vehicle, from however many links: the first good copy counts. Two packets are the same
/// when sequence count, on-board time and content are the same and they were heard within a minute of each other.
/// Content counts because a computer in a reboot loop repeats its counts and times.
///
/// What another station heard may be handed on long afterwards: a broker's outage of ten minutes keeps it back for ten.
/// Where that can be, packets are remembered for so long.
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <unordered_map>

#include "protocol/decode/decoder.hpp"
#include "server/pipeline/batch.hpp"

namespace turnstone {

class PacketMerge {
  public:
    struct Seen {
        std::uint64_t content = 0; ///< hash
        std::uint64_t counter_ns = 0;
        std::int64_t t_heard_ns = 0; ///< by whichever station
        std::int64_t onboard_ns = -1;
        std::uint32_t boot = 0;
        std::int32_t link = -1; ///< that brought it first; -1: combined from damaged copies of several
        std::uint16_t sequence_count = 0;
        bool filled = false;
        bool heard_by_another = false; ///< link, later
    };

    /// `relayed`: other stations' copies may come as long after as a broker is away.
    explicit PacketMerge(bool relayed = false) : relayed_(relayed) {}

    /// The same packet received before, if there is one.
    [[nodiscard]] Seen* find_duplicate(const Seen& packet) noexcept;
    /// Takes in a packet that is not a duplicate: `accepted`, or `late` when a newer one has been accepted.
    PacketVerdict take(const Seen& packet);

    [[nodiscard]] static std::uint64_t content_hash(std::span<const std::byte> packet) noexcept;

  private:
    // Twenty seconds at 50 packets a second: longer than one link lags behind another.
    static constexpr std::size_t kSeen = 1024;
    [[nodiscard]] static std::uint64_t key_of(const Seen& packet) noexcept;
    void keep(const Seen& packet);

    bool relayed_;
    std::array<Seen, kSeen> seen_{};
    // Older ones, and in which order they go.
    std::unordered_map<std::uint64_t, Seen> kept_;
    std::deque<std::uint64_t> kept_keys_;
    bool any_ = false;
    std::uint32_t boot_ = 0;
    std::int64_t newest_heard_ns_ = 0;
    std::int64_t newest_onboard_ns_ = -1;
    std::uint16_t newest_sequence_count_ = 0;
};

/// The same of packets that their sender does not count, as sentences and lines are. A sender at rest says the same
/// again and again on one link, and each is news. What another link brought with the same content within seconds is a
/// copy, once for each link. What somebody else says again for the sender is a copy of what was heard within half a
/// minute, on whatever link.
class UncountedMerge {
  public:
    struct Seen {
        std::uint64_t content = 0; ///< hash of what was decoded
        std::int64_t t_rx_ns = 0;
        std::int64_t onboard_ns = -1;
        std::uint32_t boot = 0;
        LinkId link = 0;
        std::uint64_t copied_by = 0; ///< a bit for each link
        bool combined = false;       ///< from damaged copies of several links
        bool was_alone = false;      ///< of what find_copy gives: until then only its own link had brought it
    };

    /// What was brought before, if there is such; it is counted as this link's copy. `repeated`: said again by somebody
    /// else.
    [[nodiscard]] const Seen* find_copy(std::uint64_t content, LinkId link, std::int64_t t_rx_ns,
                                        bool repeated) noexcept;
    void take(const Seen& packet) noexcept;

    /// Of all rows, with their texts.
    [[nodiscard]] static std::uint64_t content_hash(std::span<const DecodedRow> rows) noexcept;

  private:
    // Five seconds, which links are apart at most, at 200 a second.
    static constexpr std::size_t kSeen = 1024;
    std::array<Seen, kSeen> seen_{};
    std::size_t next_ = 0, count_ = 0;
    bool of_several_ = false; ///< links
};

} // namespace turnstone
