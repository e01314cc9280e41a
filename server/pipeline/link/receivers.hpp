#pragma once
/// The receivers of one vehicle beside each other: who heard what first, who alone, and what their damaged copies of
/// one frame give together.
///
/// A good frame passes at once, by whichever link it comes first. Damaged ones are kept for a second of station time,
/// as they were received. Once three links have a copy of one frame and none has a good one, each bit is taken as most
/// of them have it, and the check decides whether that is the frame. Copies are told from other frames by how few bits
/// differ, never by what a damaged header says. Two of them at least must be whole, of one size; a further one may have
/// been broken in two by a bit error that made a delimiter, or run together with its neighbour by one that destroyed
/// what is between them. Of symbols of a convolutional code the mean is taken, of two links already.
///
/// What was put together wrongly passes CRC-16/IBM-3740 once in 2^15 times at most: it finds every odd number of wrong
/// bits, and of the even ones all but 2 in 2^16. A vote is right or wrong; right ones cost nothing. Wrong ones are
/// limited to 3,200 in any hour, more by as much as a link's check is better, so that fewer than 0.1 frames an hour are
/// accepted that nobody sent. (A link on which twenty damaged frames come each second accepts 1.1 an hour by itself.)
#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "protocol/framing/frame.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"

namespace turnstone {

/// How long a damaged frame waits for its copies.
inline constexpr std::int64_t kCopyAgeMaxNs = 1'000'000'000;
/// Wrong votes in any hour, of links with a CRC of 16 bits.
inline constexpr int kWrongVotesAnHour = 3200;
/// Of a wrong vote, to pass a CRC of 16 bits whose polynomial has the factor x + 1.
inline constexpr double kWrongVotePasses = 0x1p-15;

/// One receiver among the others.
struct ReceiverCounts {
    std::uint64_t first = 0;         ///< packets whose first good copy came by it
    std::uint64_t only = 0;          ///< of these, those of which no other link has brought a good copy
    std::uint64_t combined_from = 0; ///< its damaged copies from which, with those of others, a good frame was made
};

/// A link whose damaged frames can be put together with those of others.
struct CombinedLink {
    LinkId link;
    CopyKind kind;
};

class Receivers {
  public:
    /// Of a station with so many links; `combined`: those whose damaged frames are kept, where they are enough.
    Receivers(std::size_t links, std::span<const CombinedLink> combined);

    [[nodiscard]] const ReceiverCounts& counts(LinkId link) const noexcept { return counts_.at(link); }

    /// What became of a packet of a link's own.
    void count(const PacketOutcome& outcome) noexcept;
    /// A good frame, before its packet is looked at. `received`: as in Frame.
    void good(LinkId link, std::int64_t t_ns, std::span<const std::byte> received);
    /// A damaged one. Returns what it and its copies give together, for the checksum to judge; empty: nothing. Valid
    /// until the next call. Whoever gets bytes says whether they are a frame, by accept or reject, and asks for more.
    [[nodiscard]] std::span<const std::byte> damaged(LinkId link, std::int64_t t_ns, const Frame& frame);
    /// `sent`: the frame that it is, as Frame::received has it of a good one.
    void accept(std::int64_t t_ns, std::span<const std::byte> sent);
    void reject(std::int64_t t_ns) noexcept;
    /// What else it holds, where frames have run together, or gives with other copies.
    [[nodiscard]] std::span<const std::byte> more(std::int64_t t_ns);

  private:
    static constexpr std::size_t kKept = 256;        ///< of each: frames of more than a second of any radio
    static constexpr std::size_t kReceiversMax = 64; ///< further ones are not combined
    static constexpr std::size_t kNone = kReceiversMax;
    using Slots = std::bitset<kReceiversMax>;

    /// A damaged frame, or two that follow each other on a link with the delimiter between them.
    struct Piece {
        bool kept = false;
        bool joined = false;
        std::size_t slot = 0; ///< of the receiver
        std::int64_t t_ns = 0;
        std::uint64_t begin = 0, end = 0; ///< in the link's stream, with the delimiter
        Slots voted = {};                 ///< receivers whose copies came later, and made with it no frame
        std::vector<std::byte> bytes = {};
    };
    struct Good {
        std::int64_t t_ns = 0;
        bool soft = false;
        Slots heard = {}; ///< receivers whose copy is known, good or damaged
        std::vector<std::byte> bytes = {};
    };
    /// A copy within a piece.
    struct Copy {
        Piece* piece = nullptr;
        std::size_t from = 0;
        std::size_t distance = 0; ///< to what it is compared with
        bool whole = false;
    };

    [[nodiscard]] bool combines(LinkId link) const noexcept { return slot_of_.at(link) != kNone; }
    [[nodiscard]] bool is_soft(std::size_t slot) const noexcept { return kinds_[slot].soft; }
    Piece& keep(std::size_t slot, std::int64_t t_ns, std::uint64_t begin, std::uint64_t end, bool joined);
    [[nodiscard]] Piece* before(const Piece& piece) noexcept;
    /// Forgets a piece, and the two of a joined one.
    void drop(Piece& piece) noexcept;
    /// Whether the piece is a damaged copy of a frame that came good; such a one is not needed.
    [[nodiscard]] bool came_good(const Piece& piece);
    [[nodiscard]] Good& remember(std::int64_t t_ns, bool soft, std::span<const std::byte> bytes);
    /// The copy of `other`, a damaged frame, that the piece holds.
    [[nodiscard]] Copy copy_in(Piece& piece, const Piece& other) const noexcept;
    /// Gathers the copies of what `reference` holds, one a receiver; the newest piece is among them.
    void gather(Piece& reference);
    /// The vote of what was gathered; empty: none, or none worth a try.
    [[nodiscard]] std::span<const std::byte> vote_of_group(std::int64_t t_ns, std::size_t newest_slot);

    std::vector<ReceiverCounts> counts_; ///< by link
    std::vector<std::size_t> slot_of_;   ///< by link; kNone: not combined
    std::vector<LinkId> links_;          ///< by slot, as the next
    std::vector<CopyKind> kinds_;
    std::vector<Piece> pieces_; ///< ring, as the next
    std::vector<Good> goods_;
    std::size_t next_piece_ = 0, next_good_ = 0;
    std::array<Piece*, 2> newest_{}; ///< as it came, and joined with the one before; null: none
    std::vector<Copy> group_;        ///< of the last vote
    std::vector<std::byte> voted_;
    std::int64_t spent_until_ns_ = 0; ///< wrong votes move it on; see reject
};

} // namespace turnstone
