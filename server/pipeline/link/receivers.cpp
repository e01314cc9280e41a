#include "server/pipeline/link/receivers.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>
#include <utility>

#include "protocol/framing/deframer.hpp"
#include "server/pipeline/link/bit_vote.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kReceiversLeast = 3, kSoftReceiversLeast = 2;
constexpr std::ptrdiff_t kWholesLeast = 2;
/// The least frame of LINK.md: a header, one byte and the checksum, stuffed.
constexpr std::size_t kFrameBytesLeast = 10;

constexpr std::int64_t kHourNs = 3'600'000'000'000;
/// Half of the wrong votes that an hour may have come at once, the others evenly.
constexpr double kWrongVoteNs = kHourNs / (kWrongVotesAnHour / 2.0);

/// What a wrong vote costs whose check lets `wrong_passes` through.
std::int64_t cost_ns(double wrong_passes) {
    return std::llround(wrong_passes / kWrongVotePasses * kWrongVoteNs);
}

std::size_t distance_of(std::span<const std::byte> a, std::span<const std::byte> b, const CopyKind& kind) {
    return kind.soft ? symbol_distance(a, b) : bit_distance(a, b);
}

/// Whether two damaged frames of so many bytes may be copies of one; a damaged one and a good one.
bool is_alike(std::size_t distance, std::size_t bytes, const CopyKind& kind) {
    return static_cast<double>(distance) <= kind.differ_most * static_cast<double>(bytes * (kind.soft ? 1 : 8));
}
bool is_alike_good(std::size_t distance, std::size_t bytes, const CopyKind& kind) {
    return is_alike(2 * distance, bytes, kind);
}

std::size_t least_of(bool soft) {
    return soft ? kSoftReceiversLeast : kReceiversLeast;
}

} // namespace

Receivers::Receivers(std::size_t links, std::span<const CombinedLink> combined)
    : counts_(links), slot_of_(links, kNone) {
    for (const CombinedLink& one : combined) {
        const auto alike = std::ranges::count(combined, one.kind.soft, [](const auto& c) { return c.kind.soft; });
        if (static_cast<std::size_t>(alike) < least_of(one.kind.soft) || links_.size() == kReceiversMax) continue;
        slot_of_.at(one.link) = links_.size();
        links_.push_back(one.link);
        kinds_.push_back(one.kind);
    }
    if (links_.empty()) return;
    pieces_.resize(kKept);
    goods_.resize(kKept);
    group_.reserve(links_.size());
    for (Piece& piece : pieces_) piece.bytes.reserve(2 * kFrameBytesMax); // two that are joined
    for (Good& good : goods_) good.bytes.reserve(kFrameBytesMax);
    voted_.reserve(kFrameBytesMax);
}

void Receivers::count(const PacketOutcome& outcome) noexcept {
    const PacketVerdict verdict = outcome.record.packet_verdict;
    if (verdict == PacketVerdict::accepted || verdict == PacketVerdict::late) {
        ++counts_[outcome.record.link].first;
        ++counts_[outcome.record.link].only;
    }
    if (outcome.no_longer_alone) --counts_[*outcome.no_longer_alone].only;
}

Receivers::Good& Receivers::remember(std::int64_t t_ns, bool soft, std::span<const std::byte> bytes) {
    Good& good = goods_[next_good_];
    next_good_ = (next_good_ + 1) % goods_.size();
    good.t_ns = t_ns;
    good.soft = soft;
    good.heard.reset();
    good.bytes.assign(bytes.begin(), bytes.end());
    return good;
}

void Receivers::drop(Piece& piece) noexcept {
    for (Piece& other : pieces_)
        if (other.slot == piece.slot && other.begin < piece.end && piece.begin < other.end) other.kept = false;
}

void Receivers::good(LinkId link, std::int64_t t_ns, std::span<const std::byte> received) {
    if (!combines(link) || received.empty()) return;
    const std::size_t slot = slot_of_[link];
    for (Good& known : goods_) {
        if (t_ns - known.t_ns > kCopyAgeMaxNs || known.heard[slot] || !std::ranges::equal(known.bytes, received))
            continue;
        known.heard.set(slot);
        return;
    }
    const bool soft = is_soft(slot);
    Good& good = remember(t_ns, soft, received);
    good.heard.set(slot);
    // Of each other receiver the nearest that resembles it was its copy.
    std::array<Copy, kReceiversMax> nearest{};
    for (Piece& piece : pieces_) {
        if (!piece.kept || t_ns - piece.t_ns > kCopyAgeMaxNs || piece.slot == slot || is_soft(piece.slot) != soft ||
            piece.bytes.size() != received.size())
            continue;
        const std::size_t distance = distance_of(piece.bytes, received, kinds_[slot]);
        Copy& best = nearest[piece.slot];
        if (!is_alike_good(distance, received.size(), kinds_[slot])) continue;
        if (best.piece == nullptr || distance < best.distance) best = {&piece, 0, distance};
    }
    for (const Copy& copy : nearest) {
        if (copy.piece == nullptr) continue;
        good.heard.set(copy.piece->slot);
        drop(*copy.piece);
    }
}

bool Receivers::came_good(const Piece& piece) {
    const CopyKind& kind = kinds_[piece.slot];
    Good* nearest = nullptr;
    std::size_t least = 0;
    for (Good& good : goods_) {
        if (piece.t_ns - good.t_ns > kCopyAgeMaxNs || good.heard[piece.slot] || good.soft != kind.soft ||
            good.bytes.size() != piece.bytes.size())
            continue;
        const std::size_t distance = distance_of(good.bytes, piece.bytes, kind);
        if (!is_alike_good(distance, piece.bytes.size(), kind)) continue;
        if (nearest != nullptr && distance >= least) continue;
        nearest = &good;
        least = distance;
    }
    if (nearest != nullptr) nearest->heard.set(piece.slot);
    return nearest != nullptr;
}

Receivers::Piece& Receivers::keep(std::size_t slot, std::int64_t t_ns, std::uint64_t begin, std::uint64_t end,
                                  bool joined) {
    Piece& piece = pieces_[next_piece_];
    next_piece_ = (next_piece_ + 1) % pieces_.size();
    piece.kept = true;
    piece.joined = joined;
    piece.slot = slot;
    piece.t_ns = t_ns;
    piece.begin = begin;
    piece.end = end;
    piece.voted.reset();
    piece.bytes.clear();
    return piece;
}

Receivers::Piece* Receivers::before(const Piece& piece) noexcept {
    for (Piece& other : pieces_)
        if (other.kept && !other.joined && other.slot == piece.slot && other.end == piece.begin &&
            piece.t_ns - other.t_ns <= kCopyAgeMaxNs)
            return &other;
    return nullptr;
}

Receivers::Copy Receivers::copy_in(Piece& piece, const Piece& other) const noexcept {
    const std::span<const std::byte> held = piece.bytes, bytes = other.bytes;
    const CopyKind& kind = kinds_[piece.slot];
    if (held.size() < bytes.size() || kind.soft != is_soft(other.slot)) return {};
    if (piece.joined && held.size() != bytes.size()) return {};
    const std::size_t behind = held.size() - bytes.size();
    Copy copy{&piece, 0, distance_of(held.first(bytes.size()), bytes, kind), behind == 0 && !piece.joined};
    if (behind > 0)
        if (const std::size_t at_end = distance_of(held.last(bytes.size()), bytes, kind); at_end < copy.distance)
            copy = {&piece, behind, at_end, false};
    return is_alike(copy.distance, bytes.size(), kind) ? copy : Copy{};
}

void Receivers::gather(Piece& reference) {
    const std::size_t newest_slot = newest_[0]->slot;
    std::array<Copy, kReceiversMax> nearest{};
    const auto look = [&](Piece& piece) {
        Copy& best = nearest[piece.slot];
        const Copy copy = copy_in(piece, reference);
        if (copy.piece != nullptr && (best.piece == nullptr || copy.distance < best.distance)) best = copy;
    };
    for (Piece& piece : pieces_)
        if (piece.kept && newest_[0]->t_ns - piece.t_ns <= kCopyAgeMaxNs && piece.slot != reference.slot &&
            piece.slot != newest_slot && !piece.voted[newest_slot])
            look(piece);
    if (reference.slot != newest_slot)
        for (Piece* const piece : newest_)
            if (piece != nullptr) look(*piece);
    group_.assign(1, {&reference, 0, 0, true});
    for (const Copy& copy : nearest)
        if (copy.piece != nullptr) group_.push_back(copy);
}

std::span<const std::byte> Receivers::vote_of_group(std::int64_t t_ns, std::size_t newest_slot) {
    const bool soft = is_soft(newest_slot);
    if (group_.size() < least_of(soft)) return {};
    const std::size_t size = group_.front().piece->bytes.size();
    std::array<std::span<const std::byte>, kReceiversMax> copies;
    std::size_t count = 0;
    for (const Copy& copy : group_)
        copies[count++] = std::span<const std::byte>(copy.piece->bytes).subspan(copy.from, size);
    if (!soft && count % 2 == 0) {
        std::size_t furthest = 0, most = 0;
        for (std::size_t k = 0; k < count; ++k) {
            std::size_t sum = 0;
            for (std::size_t other = 0; other < count; ++other) sum += bit_distance(copies[k], copies[other]);
            if (sum < most) continue;
            most = sum;
            furthest = k;
        }
        if (group_[furthest].piece->slot == newest_slot) return {}; // the others have voted
        std::swap(copies[furthest], copies[--count]);
        std::swap(group_[furthest], group_.back());
        group_.pop_back();
    }
    if (std::ranges::count(group_, true, &Copy::whole) < kWholesLeast) return {};
    voted_.resize(size);
    (soft ? mean : vote)(std::span(copies).first(count), voted_);
    for (const Copy& copy : group_)
        if (copy.whole && copy.piece->bytes == voted_) return {}; // is known to be damaged
    for (Good& good : goods_) {
        if (t_ns - good.t_ns > kCopyAgeMaxNs || good.bytes != voted_) continue;
        for (const Copy& copy : group_) {
            good.heard.set(copy.piece->slot);
            drop(*copy.piece);
        }
        return {};
    }
    if (spent_until_ns_ + cost_ns(kinds_[newest_slot].wrong_passes) - t_ns > kHourNs) return {};
    return voted_;
}

std::span<const std::byte> Receivers::damaged(LinkId link, std::int64_t t_ns, const Frame& frame) {
    newest_ = {};
    if (!combines(link) || frame.received.empty()) return {};
    const std::size_t slot = slot_of_[link];
    Piece& whole = keep(slot, t_ns, frame.stream_offset, frame.stream_offset + frame.link_bytes, false);
    whole.bytes.assign(frame.received.begin(), frame.received.end());
    if (came_good(whole)) {
        whole.kept = false;
        return {};
    }
    newest_[0] = &whole;
    Piece* const prior = before(whole);
    const auto delimiter = kinds_[slot].delimiter;
    if (delimiter && prior != nullptr && prior != &pieces_[next_piece_]) {
        Piece& joined = keep(slot, t_ns, prior->begin, whole.end, true);
        joined.bytes.assign(prior->bytes.begin(), prior->bytes.end());
        joined.bytes.push_back(*delimiter);
        joined.bytes.insert(joined.bytes.end(), whole.bytes.begin(), whole.bytes.end());
        newest_[1] = &joined;
        if (came_good(joined)) {
            drop(joined);
            return {};
        }
    }
    return more(t_ns);
}

std::span<const std::byte> Receivers::more(std::int64_t t_ns) {
    if (newest_[0] == nullptr || !newest_[0]->kept) return {};
    const std::size_t slot = newest_[0]->slot;
    // Its copies are those of its size; or it is itself the odd one among those of another.
    Piece* reference = nullptr;
    using Likeness = std::tuple<bool, std::size_t, std::ptrdiff_t>;
    Likeness best{};
    for (Piece& other : pieces_) {
        if (!other.kept || other.joined || other.slot == slot || other.voted[slot] ||
            t_ns - other.t_ns > kCopyAgeMaxNs || other.bytes.size() < kFrameBytesLeast)
            continue;
        for (Piece* const piece : newest_) {
            const Copy copy = piece != nullptr ? copy_in(*piece, other) : Copy{};
            if (copy.piece == nullptr) continue;
            const Likeness likeness{copy.whole, other.bytes.size(), -static_cast<std::ptrdiff_t>(copy.distance)};
            if (reference != nullptr && likeness <= best) continue;
            reference = copy.whole ? piece : &other;
            best = likeness;
        }
    }
    if (reference == nullptr) return {};
    gather(*reference);
    return vote_of_group(t_ns, slot);
}

void Receivers::accept(std::int64_t t_ns, std::span<const std::byte> sent) {
    Good& good = remember(t_ns, is_soft(newest_[0]->slot), sent);
    for (const Copy& copy : group_) {
        good.heard.set(copy.piece->slot);
        ++counts_[links_[copy.piece->slot]].combined_from;
        // One that holds more than this frame holds the next one's copy too.
        if (copy.piece->bytes.size() == voted_.size()) drop(*copy.piece);
    }
}

void Receivers::reject(std::int64_t t_ns) noexcept {
    const std::size_t slot = newest_[0]->slot;
    spent_until_ns_ = std::max(spent_until_ns_, t_ns) + cost_ns(kinds_[slot].wrong_passes);
    for (const Copy& copy : group_) copy.piece->voted.set(slot);
}

} // namespace turnstone
