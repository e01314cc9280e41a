#pragma once
/// What a link delivers and loses, as a whole and for each kind of packet on it.
///
/// Loss is seen by gaps in the sequence counts (modulo 16384, one count per APID). A gap is believed when that many
/// packets fit, at the packet's period, into the time since the last one. A larger gap means that the count restarted,
/// and nothing is known of what was lost around it. A silence longer than one turn of the count is counted with its
/// full turns. A packet that fills a gap later is taken off the losses and counted as out of order. While nothing comes
/// nothing is counted lost: the losses of a silent link show with the next packet, its age at once. Of a gap around a
/// time when the station itself did not run, the link lost only the rest: that part is not counted, and the station
/// says how long it was down.
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "protocol/framing/frame.hpp"

namespace turnstone {

/// Losses and rates over the last 1, 10 and 60 s, in steps of 0.1 s.
inline constexpr std::array<std::size_t, 3> kQualityWindowTicks{10, 100, 600};

struct QualityCounts {
    std::uint64_t received = 0; ///< good packets, duplicates and late ones included
    std::int64_t lost = 0;
    std::uint64_t duplicates = 0;      ///< already there, by this or another link
    std::uint64_t late = 0;            ///< older than one already accepted
    std::uint64_t out_of_order = 0;    ///< came after a packet with a higher count on this link
    std::uint64_t sequence_resets = 0; ///< the sequence count began again
};

/// Sliding sums of three quantities; fixed memory, constant time.
class QualityWindows {
  public:
    struct Sums {
        std::int64_t bytes = 0;
        std::int64_t fresh = 0; ///< packets with a count not seen before on this link
        std::int64_t lost = 0;
    };
    void count(std::int64_t bytes, std::int64_t fresh, std::int64_t lost) noexcept;
    /// Ends the present step of 0.1 s.
    void tick() noexcept;
    /// Sums over the last `kQualityWindowTicks[window]` ended steps.
    [[nodiscard]] const Sums& sums(std::size_t window) const noexcept { return sums_[window]; }
    /// Fraction of the packets sent that were lost; NaN when nothing is known to have been sent.
    [[nodiscard]] double loss(std::size_t window) const noexcept;

  private:
    struct Step {
        std::int32_t bytes = 0, fresh = 0, lost = 0;
    };
    /// Ring; one more than the longest window, to still hold the step that leaves it.
    std::array<Step, kQualityWindowTicks.back() + 1> steps_{};
    std::array<Sums, kQualityWindowTicks.size()> sums_{};
    std::size_t at_ = 0;
};

/// One kind of packet on one link.
class PacketQuality {
  public:
    /// `period_s` 0: sporadic.
    explicit PacketQuality(double period_s) : period_s_(period_s) {}

    struct Change {
        std::int64_t lost = 0; ///< negative: a gap was filled
        bool fresh = false;
    };
    /// A good packet. `boot`: the count begins again with each.
    Change packet(std::uint16_t sequence_count, std::uint32_t boot, std::int64_t t_rx_ns, std::size_t bytes) noexcept;
    /// Nothing could be received for so long, since the packets before the next one.
    void absent(std::int64_t duration_ns) noexcept { absent_ns_ += duration_ns; }
    void duplicate() noexcept { ++counts_.duplicates; }
    void late() noexcept { ++counts_.late; }
    void tick() noexcept { windows_.tick(); }

    [[nodiscard]] const QualityCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] const QualityWindows& windows() const noexcept { return windows_; }
    /// Seconds since the last one; NaN before the first.
    [[nodiscard]] double age_s(std::int64_t t_ns) const noexcept;

  private:
    static constexpr unsigned kSeenCounts = 1024;
    void begin(std::uint16_t sequence_count) noexcept;
    bool mark_seen(unsigned back) noexcept; ///< false: was marked already
    void advance_seen(unsigned step) noexcept;
    [[nodiscard]] std::int64_t missed_by_station(std::int64_t gap, double elapsed_s) const noexcept;

    double period_s_;
    bool started_ = false;
    std::uint16_t newest_ = 0;
    std::uint32_t boot_ = 0;
    std::int64_t t_last_ns_ = 0;   ///< of any packet
    std::int64_t t_newest_ns_ = 0; ///< of the packet with the newest count
    std::int64_t absent_ns_ = 0;   ///< since then
    /// How far the count has moved since it began: what lies before it was never counted lost.
    std::uint64_t since_start_ = 0;
    std::array<std::uint64_t, kSeenCounts / 64> seen_{}; ///< ring by count modulo kSeenCounts
    QualityCounts counts_;
    QualityWindows windows_;
};

/// One link.
class LinkQuality {
  public:
    explicit LinkQuality(std::span<const double> packet_periods_s);

    void bytes(std::size_t count) noexcept;
    void bad_frame(FrameVerdict verdict) noexcept { ++bad_frames_[static_cast<std::size_t>(verdict)]; }
    void idle_frame(std::int64_t t_rx_ns) noexcept;
    /// As PacketQuality::absent.
    void absent(std::int64_t duration_ns) noexcept;
    /// A good frame that the dictionary cannot read.
    void undecodable() noexcept { ++undecodable_; }
    void packet(std::size_t kind, std::uint16_t sequence_count, std::uint32_t boot, std::int64_t t_rx_ns,
                std::size_t frame_bytes) noexcept;
    void duplicate(std::size_t kind) noexcept;
    void late(std::size_t kind) noexcept;
    void tick() noexcept;

    [[nodiscard]] std::span<const PacketQuality> packets() const noexcept { return packets_; }
    [[nodiscard]] const QualityCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] const QualityWindows& windows() const noexcept { return windows_; }
    [[nodiscard]] std::uint64_t bytes_in() const noexcept { return bytes_; }
    [[nodiscard]] std::uint64_t bad_frames(FrameVerdict verdict) const noexcept {
        return bad_frames_[static_cast<std::size_t>(verdict)];
    }
    [[nodiscard]] std::uint64_t idle() const noexcept { return idle_; }
    [[nodiscard]] std::uint64_t undecodable_count() const noexcept { return undecodable_; }
    /// Seconds since the last good frame; NaN before the first.
    [[nodiscard]] double age_s(std::int64_t t_ns) const noexcept;

  private:
    std::vector<PacketQuality> packets_;
    QualityCounts counts_;
    QualityWindows windows_;
    std::array<std::uint64_t, kWords<FrameVerdict>.size()> bad_frames_{};
    std::uint64_t bytes_ = 0, idle_ = 0, undecodable_ = 0;
    std::int64_t t_good_ns_ = 0;
    bool any_good_ = false;
};

} // namespace turnstone
