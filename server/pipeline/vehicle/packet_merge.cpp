#include "server/pipeline/vehicle/packet_merge.hpp"

#include <algorithm>
#include <cstdlib>
#include <cstring>

#include "protocol/packet/space_packet.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {
constexpr std::int64_t kHeardApartNs = 60 * kNsPerS;
/// Ten minutes without a broker, and what it takes to hand on what has gathered.
constexpr std::int64_t kRelaysLateNs = 15 * 60 * kNsPerS;
/// So long at 200 packets a second; some 20 MB.
constexpr std::size_t kKeptMost = 180'000;
constexpr std::int64_t kLinksApartNs = 5 * kNsPerS;
/// Repeaters know copies for as long (common practice, no source).
constexpr std::int64_t kRepeatersTakeNs = 30 * kNsPerS;
} // namespace

std::uint64_t PacketMerge::content_hash(std::span<const std::byte> packet) noexcept {
    // Multiply and fold, eight bytes a step. It need not resist malice: a forged duplicate would only be left out.
    std::uint64_t hash = 0x9E3779B97F4A7C15u ^ packet.size();
    while (!packet.empty()) {
        std::uint64_t word = 0;
        const std::size_t size = packet.size() < sizeof word ? packet.size() : sizeof word;
        std::memcpy(&word, packet.data(), size);
        hash = (hash ^ word) * 0xD6E8FEB86659FD93u;
        hash ^= hash >> 32;
        packet = packet.subspan(size);
    }
    return hash;
}

std::uint64_t PacketMerge::key_of(const Seen& packet) noexcept {
    return (packet.content ^ packet.counter_ns) * 0xD6E8FEB86659FD93u + packet.sequence_count;
}

PacketMerge::Seen* PacketMerge::find_duplicate(const Seen& packet) noexcept {
    const auto is_same = [&](const Seen& seen) {
        return seen.filled && seen.sequence_count == packet.sequence_count && seen.counter_ns == packet.counter_ns &&
               seen.content == packet.content && std::llabs(packet.t_heard_ns - seen.t_heard_ns) <= kHeardApartNs;
    };
    Seen& seen = seen_[packet.sequence_count % kSeen];
    if (is_same(seen)) return &seen;
    if (kept_.empty()) return nullptr;
    const auto kept = kept_.find(key_of(packet));
    return kept != kept_.end() && is_same(kept->second) ? &kept->second : nullptr;
}

void PacketMerge::keep(const Seen& packet) {
    const std::uint64_t key = key_of(packet);
    if (kept_.insert_or_assign(key, packet).second) kept_keys_.push_back(key);
    const auto is_over = [&](std::uint64_t oldest) {
        return kept_.size() > kKeptMost || kept_.at(oldest).t_heard_ns < packet.t_heard_ns - kRelaysLateNs;
    };
    for (; is_over(kept_keys_.front()); kept_keys_.pop_front()) kept_.erase(kept_keys_.front());
}

PacketVerdict PacketMerge::take(const Seen& packet) {
    Seen& place = seen_[packet.sequence_count % kSeen];
    if (relayed_ && place.filled) keep(place);
    place = packet;
    place.filled = true;
    bool late = any_ && packet.t_heard_ns < newest_heard_ns_ - kHeardApartNs;
    newest_heard_ns_ = any_ ? std::max(newest_heard_ns_, packet.t_heard_ns) : packet.t_heard_ns;
    if (late) {
        // Counts and times of long ago say nothing.
    } else if (any_ && packet.boot < boot_) {
        late = true;
    } else if (any_ && packet.boot == boot_) {
        // Several packets may carry the same millisecond; their count then says which is older.
        const unsigned back =
            (newest_sequence_count_ + unsigned{kSequenceModulus} - packet.sequence_count) % kSequenceModulus;
        if (packet.onboard_ns >= 0 && newest_onboard_ns_ >= 0 && packet.onboard_ns != newest_onboard_ns_)
            late = packet.onboard_ns < newest_onboard_ns_;
        else
            late = back > 0 && back < kSeen;
    }
    if (late) return PacketVerdict::late;
    // Times and counts of the boot before say nothing of this one's.
    if (packet.boot != boot_) {
        newest_onboard_ns_ = -1;
        newest_sequence_count_ = packet.sequence_count;
    }
    any_ = true;
    boot_ = packet.boot;
    // A packet whose time is not believed must not make later ones late.
    if (packet.onboard_ns >= 0) {
        newest_onboard_ns_ = packet.onboard_ns;
        newest_sequence_count_ = packet.sequence_count;
    }
    return PacketVerdict::accepted;
}

const UncountedMerge::Seen* UncountedMerge::find_copy(std::uint64_t content, LinkId link, std::int64_t t_rx_ns,
                                                      bool repeated) noexcept {
    const std::uint64_t bit = std::uint64_t{1} << (link % 64U);
    const bool is_other = count_ > 0 && seen_[(next_ + kSeen - 1) % kSeen].link != link;
    if (!repeated && !of_several_ && !is_other) return nullptr;
    for (std::size_t k = 1; k <= count_; ++k) { // the newest first: what is older may have been lost on this link
        Seen& seen = seen_[(next_ + kSeen - k) % kSeen];
        const std::int64_t age_ns = t_rx_ns - seen.t_rx_ns;
        if (age_ns > kRepeatersTakeNs) return nullptr;
        const bool by_link = seen.link != link && (seen.copied_by & bit) == 0 && age_ns <= kLinksApartNs;
        if (seen.content != content || !(by_link || (repeated && age_ns <= kRepeatersTakeNs))) continue;
        seen.was_alone = by_link && seen.copied_by == 0 && !seen.combined;
        seen.copied_by |= bit;
        return &seen;
    }
    return nullptr;
}

void UncountedMerge::take(const Seen& packet) noexcept {
    of_several_ = of_several_ || (count_ > 0 && seen_[(next_ + kSeen - 1) % kSeen].link != packet.link);
    seen_[next_] = packet;
    next_ = (next_ + 1) % kSeen;
    count_ = std::min(count_ + 1, kSeen);
}

std::uint64_t UncountedMerge::content_hash(std::span<const DecodedRow> rows) noexcept {
    std::uint64_t hash = 0;
    const auto add = [&](std::span<const std::byte> bytes) {
        hash = (hash ^ PacketMerge::content_hash(bytes)) * 0xD6E8FEB86659FD93u;
    };
    for (const DecodedRow& row : rows) {
        add(std::as_bytes(std::span(&row.table, 1)));
        add(std::as_bytes(row.numbers));
        for (const std::string_view text : row.texts) add(std::as_bytes(std::span(text)));
    }
    return hash;
}

} // namespace turnstone
