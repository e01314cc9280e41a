#include "server/pipeline/link/capture_time.hpp"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Packets of one moment differ by what they waited for each other, and lost ones leave small gaps.
constexpr std::int64_t kSmallStepNs = 5 * kNsPerS;
/// A longer silence cannot be told from another clock: the time goes on as if there had been none.
constexpr std::int64_t kGapMostNs = 3600 * kNsPerS;
constexpr std::int64_t kUnknownStepNs = kNsPerS;
/// Pieces are about as long as what a radio hands over at once.
constexpr std::int64_t kPieceNs = 20 * kNsPerMs;
constexpr std::size_t kHeldBytesMax = 65536;

} // namespace

CaptureTime::CaptureTime(const Framing& framing, const Dictionary& dictionary)
    : dictionary_(&dictionary), reader_(framing, dictionary) {
    const double rollover_ns = dictionary.clocks.empty() ? 0 : dictionary.clocks.front().rollover_ns();
    rollover_ns_ =
        rollover_ns < 9.0e18 ? static_cast<std::int64_t>(rollover_ns) : std::numeric_limits<std::int64_t>::max();
}

std::int64_t CaptureTime::step(std::int64_t from_raw_ns, std::int64_t to_raw_ns) const noexcept {
    const std::int64_t step_ns = to_raw_ns - from_raw_ns;
    if (step_ns > rollover_ns_ / 2) return step_ns - rollover_ns_;
    return step_ns < -(rollover_ns_ / 2) ? step_ns + rollover_ns_ : step_ns;
}

bool CaptureTime::follow(std::int64_t raw_ns, std::optional<std::int64_t> next_raw_ns) noexcept {
    const std::int64_t step_ns = started_ ? step(raw_ns_, raw_ns) : 0;
    if (std::abs(step_ns) <= kSmallStepNs) {
        if (started_ && step_ns <= 0) return true; // held up on the way
        started_ = true;
        raw_ns_ = raw_ns;
        t_ns_ += step_ns;
        return true;
    }
    if (!next_raw_ns) return false;
    if (std::abs(step(raw_ns, *next_raw_ns)) > kSmallStepNs) return true; // alone: a damaged time
    if (step_ns > 0)
        t_ns_ += step_ns <= kGapMostNs ? step_ns : kUnknownStepNs;
    else
        t_ns_ += raw_ns <= kGapMostNs ? raw_ns : kUnknownStepNs; // since the restart
    raw_ns_ = raw_ns;
    return true;
}

void CaptureTime::read(std::int64_t t_now_ns, std::span<const std::byte> bytes, const OnPiece& on_piece) {
    if (!started_) t_ns_ = std::max(t_ns_, t_now_ns);
    held_.insert(held_.end(), bytes.begin(), bytes.end());
    reader_.push(bytes, [&](const Frame& frame, const DecodedPacket* decoded) {
        if (decoded == nullptr || decoded->verdict != DecodeVerdict::good) return;
        const auto& time = dictionary_->packets[decoded->packet].time;
        // Packets of other clocks, or without a time, come when those around them come.
        if (!time || time->clock != 0 || (!decoded->has_time && decoded->told_ns < 0)) return;
        stamps_.push_back(
            {frame.stream_offset + frame.link_bytes,
             decoded->has_time ? static_cast<std::int64_t>(decoded->onboard_ticks_ns) : decoded->told_ns});
    });
    hand_on(held_.size() > kHeldBytesMax, on_piece);
}

void CaptureTime::end(const OnPiece& on_piece) {
    hand_on(true, on_piece);
}

void CaptureTime::hand_on(bool at_end, const OnPiece& on_piece) {
    std::size_t done = 0;
    for (; done < stamps_.size(); ++done) {
        std::optional<std::int64_t> next_raw_ns;
        if (done + 1 < stamps_.size())
            next_raw_ns = stamps_[done + 1].raw_ns;
        else if (at_end)
            next_raw_ns = stamps_[done].raw_ns;
        const std::int64_t t_before_ns = t_ns_;
        if (!follow(stamps_[done].raw_ns, next_raw_ns)) break;
        // What came before a gap did not come after it.
        if (t_ns_ - t_before_ns >= kPieceNs) piece(t_before_ns, followed_, on_piece);
        followed_ = stamps_[done].stream_end;
        if (t_ns_ - t_piece_ns_ >= kPieceNs) piece(t_ns_, followed_, on_piece);
    }
    stamps_.erase(stamps_.begin(), stamps_.begin() + static_cast<std::ptrdiff_t>(done));
    // Of a packet in doubt no byte may go: it comes when its last byte comes.
    if (stamps_.empty()) piece(t_ns_, held_from_ + held_.size(), on_piece);
    held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(handed_on_ - held_from_));
    held_from_ = handed_on_;
}

void CaptureTime::piece(std::int64_t t_ns, std::uint64_t stream_end, const OnPiece& on_piece) {
    if (stream_end <= handed_on_) return;
    t_piece_ns_ = t_ns;
    on_piece(t_ns, std::span(held_).subspan(static_cast<std::size_t>(handed_on_ - held_from_),
                                            static_cast<std::size_t>(stream_end - handed_on_)));
    handed_on_ = stream_end;
}

} // namespace turnstone
