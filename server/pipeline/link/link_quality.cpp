#include "server/pipeline/link/link_quality.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/packet/space_packet.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

// Packets come in bursts, and radios hold some back: up to this many more than the period allows are believed.
constexpr double kBurstFactor = 1.5;
constexpr double kBurstPackets = 32;
// The largest gap believed of a sporadic packet, which has no period to say how many were possible.
constexpr unsigned kSporadicGapMost = 1000;
// After a longer silence a count just below the newest has gone round once; it is not a packet held up.
constexpr double kHeldUpMost_s = 30;

constexpr double kNone = kNaN;

} // namespace

void QualityWindows::count(std::int64_t bytes, std::int64_t fresh, std::int64_t lost) noexcept {
    steps_[at_].bytes += static_cast<std::int32_t>(bytes);
    steps_[at_].fresh += static_cast<std::int32_t>(fresh);
    steps_[at_].lost += static_cast<std::int32_t>(lost);
}

void QualityWindows::tick() noexcept {
    const Step ended = steps_[at_];
    const std::size_t size = steps_.size();
    for (std::size_t w = 0; w < sums_.size(); ++w) {
        const Step& gone = steps_[(at_ + size - kQualityWindowTicks[w]) % size];
        sums_[w].bytes += ended.bytes - gone.bytes;
        sums_[w].fresh += ended.fresh - gone.fresh;
        sums_[w].lost += ended.lost - gone.lost;
    }
    at_ = (at_ + 1) % size;
    steps_[at_] = {};
}

double QualityWindows::loss(std::size_t window) const noexcept {
    const std::int64_t lost = std::max<std::int64_t>(0, sums_[window].lost);
    const std::int64_t sent = lost + sums_[window].fresh;
    return sent > 0 ? static_cast<double>(lost) / static_cast<double>(sent) : kNone;
}

void PacketQuality::begin(std::uint16_t sequence_count) noexcept {
    newest_ = sequence_count;
    seen_.fill(0);
    seen_[newest_ % kSeenCounts / 64] |= std::uint64_t{1} << (newest_ % 64);
    since_start_ = 0;
}

bool PacketQuality::mark_seen(unsigned back) noexcept {
    const unsigned place = (newest_ + kSequenceModulus - back) % kSeenCounts;
    const std::uint64_t bit = std::uint64_t{1} << (place % 64);
    if (seen_[place / 64] & bit) return false;
    seen_[place / 64] |= bit;
    return true;
}

void PacketQuality::advance_seen(unsigned step) noexcept {
    if (step >= kSeenCounts) seen_.fill(0);
    for (unsigned k = 1; k <= std::min(step, kSeenCounts); ++k) {
        const unsigned place = (newest_ + k) % kSeenCounts;
        seen_[place / 64] &= ~(std::uint64_t{1} << (place % 64));
    }
    newest_ = static_cast<std::uint16_t>((newest_ + step) % kSequenceModulus);
    since_start_ += step;
}

/// Of the packets of a gap those that fell into the station's absence, as if they were sent evenly. One more is the one
/// that the absence's end cut in two.
std::int64_t PacketQuality::missed_by_station(std::int64_t gap, double elapsed_s) const noexcept {
    if (absent_ns_ <= 0 || gap <= 0) return 0;
    const double part = std::min(1.0, static_cast<double>(absent_ns_) / kNsPerS / elapsed_s);
    return std::min(gap, static_cast<std::int64_t>(std::ceil(part * static_cast<double>(gap))) + 1);
}

PacketQuality::Change PacketQuality::packet(std::uint16_t sequence_count, std::uint32_t boot, std::int64_t t_rx_ns,
                                            std::size_t bytes) noexcept {
    Change change;
    ++counts_.received;
    t_last_ns_ = t_rx_ns;
    const unsigned step = (sequence_count + kSequenceModulus - newest_) % kSequenceModulus;
    const unsigned back = kSequenceModulus - step;
    const double elapsed_s = started_ ? seconds_between(t_newest_ns_, t_rx_ns) : 0;
    const bool held_up = back < kSeenCounts && elapsed_s < kHeldUpMost_s;
    if (!started_ || boot != boot_) {
        // A straggler of the boot before says nothing of this boot's count.
        if (!started_ || boot > boot_) {
            counts_.sequence_resets += started_ ? 1 : 0;
            started_ = true;
            boot_ = boot;
            begin(sequence_count);
            t_newest_ns_ = t_rx_ns;
            absent_ns_ = 0;
        }
        change.fresh = true;
    } else if (step == 0) {
        change.fresh = false;
    } else if (held_up && back <= since_start_) {
        change.fresh = mark_seen(back);
        if (change.fresh) {
            ++counts_.out_of_order;
            change.lost = -1;
        }
    } else {
        const double possible = period_s_ > 0 ? elapsed_s / period_s_ * kBurstFactor + kBurstPackets : kSporadicGapMost;
        if (step <= possible) {
            change.lost = static_cast<std::int64_t>(step) - 1;
            if (period_s_ > 0) {
                const double turns = std::floor((elapsed_s / period_s_ - step) / kSequenceModulus + 0.5);
                if (turns >= 1) change.lost += static_cast<std::int64_t>(turns) * kSequenceModulus;
            }
            const std::int64_t missed = missed_by_station(change.lost, elapsed_s);
            change.lost -= missed;
            advance_seen(step);
            if (missed > 0) since_start_ = 0; // what comes of them after all makes no loss good
            mark_seen(0);
            t_newest_ns_ = t_rx_ns;
            absent_ns_ = 0;
        } else if (held_up) {
            // Sent before the first packet that came: neither a loss made good nor a restart.
            ++counts_.out_of_order;
        } else {
            ++counts_.sequence_resets;
            begin(sequence_count);
            t_newest_ns_ = t_rx_ns;
            absent_ns_ = 0;
        }
        change.fresh = true;
    }
    counts_.lost += change.lost;
    windows_.count(static_cast<std::int64_t>(bytes), change.fresh ? 1 : 0, change.lost);
    return change;
}

double PacketQuality::age_s(std::int64_t t_ns) const noexcept {
    return counts_.received > 0 ? seconds_between(t_last_ns_, t_ns) : kNone;
}

LinkQuality::LinkQuality(std::span<const double> packet_periods_s) {
    packets_.reserve(packet_periods_s.size());
    for (const double period_s : packet_periods_s) packets_.emplace_back(period_s);
}

void LinkQuality::bytes(std::size_t count) noexcept {
    bytes_ += count;
    windows_.count(static_cast<std::int64_t>(count), 0, 0);
}

void LinkQuality::absent(std::int64_t duration_ns) noexcept {
    for (PacketQuality& packet : packets_) packet.absent(duration_ns);
}

void LinkQuality::idle_frame(std::int64_t t_rx_ns) noexcept {
    ++idle_;
    t_good_ns_ = t_rx_ns;
    any_good_ = true;
}

void LinkQuality::packet(std::size_t kind, std::uint16_t sequence_count, std::uint32_t boot, std::int64_t t_rx_ns,
                         std::size_t frame_bytes) noexcept {
    const std::uint64_t out_of_order = packets_[kind].counts().out_of_order;
    const std::uint64_t sequence_resets = packets_[kind].counts().sequence_resets;
    const PacketQuality::Change change = packets_[kind].packet(sequence_count, boot, t_rx_ns, frame_bytes);
    ++counts_.received;
    counts_.lost += change.lost;
    counts_.out_of_order += packets_[kind].counts().out_of_order - out_of_order;
    counts_.sequence_resets += packets_[kind].counts().sequence_resets - sequence_resets;
    windows_.count(0, change.fresh ? 1 : 0, change.lost);
    t_good_ns_ = t_rx_ns;
    any_good_ = true;
}

void LinkQuality::duplicate(std::size_t kind) noexcept {
    packets_[kind].duplicate();
    ++counts_.duplicates;
}

void LinkQuality::late(std::size_t kind) noexcept {
    packets_[kind].late();
    ++counts_.late;
}

void LinkQuality::tick() noexcept {
    for (PacketQuality& packet : packets_) packet.tick();
    windows_.tick();
}

double LinkQuality::age_s(std::int64_t t_ns) const noexcept {
    return any_good_ ? seconds_between(t_good_ns_, t_ns) : kNone;
}

} // namespace turnstone
