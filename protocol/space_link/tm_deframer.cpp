#include "protocol/space_link/tm_deframer.hpp"

#include <algorithm>
#include <bit>
#include <utility>

#include "protocol/coding/randomizer.hpp"
#include "protocol/framing/crc16.hpp"

namespace turnstone {
namespace {

// Of the marker's 32 bits may be wrong: where one is due; where one is searched for; and, where no check follows that
// would find a false one, the same two. By chance three or fewer are once in 400,000 bits, of either polarity.
constexpr unsigned kDueErrors = 10, kSearchErrors = 3;
constexpr unsigned kDueErrorsUnchecked = 3, kSearchErrorsUnchecked = 0;
// Of the marker's symbols in a convolutional code, where it is due: an error rate of a fifth leaves more in one of a
// hundred, and chance fewer in two of a hundred.
constexpr unsigned kDueSymbolErrors = 17;
constexpr unsigned kSlipBitsMost = 8, kSlipErrors = 2;
constexpr unsigned kMissedMost = 4; // markers in a row that did not stand where they were due
// Symbols that are kept of a block: with its own marker, and with the next one, whose symbols tell of its last bits.
constexpr std::size_t kSymbolsBesides = 2 * (kMarkerBits + kMarkerBits);
constexpr SoftSymbol kUnknown = 128;

} // namespace

TmDeframer::TmDeframer(const TmFormat& format, std::size_t packet_bytes_max)
    : format_(format), bits_(format.symbols, format.period_bits() + kMarkerBits), assembly_(format, packet_bytes_max),
      block_(format.block_bytes()), codeword_(kCodewordBytes), pair_until_(2 * format.period_bits()),
      kept_(bits_.is_coded() ? 16 * block_.size() + kSymbolsBesides : block_.size()) {
    if (format_.correctable > 0) code_.emplace(format_.correctable);
}

unsigned TmDeframer::marker_errors(std::uint64_t bit) const noexcept {
    const std::uint32_t wrong = bits_.word(bit) ^ kSyncMarker;
    if (wrong == 0) return 0; // nearly always where one is due
    const auto differ = static_cast<unsigned>(std::popcount(wrong));
    return std::min(differ, static_cast<unsigned>(kMarkerBits) - differ);
}

bool TmDeframer::is_inverted(std::uint64_t start) const noexcept {
    if (bits_.is_coded() && start == at_) return bits_.marker_symbol_errors(start) > kMarkerSymbols / 2;
    return std::popcount(bits_.word(start) ^ kSyncMarker) > static_cast<int>(kMarkerBits / 2);
}

bool TmDeframer::symbols_are_due() const noexcept {
    if (!bits_.is_coded() || !format_.is_checked()) return false;
    const unsigned errors = bits_.marker_symbol_errors(at_);
    return std::min(errors, kMarkerSymbols - errors) <= kDueSymbolErrors;
}

void TmDeframer::skip_to(std::uint64_t bit) noexcept {
    at_ = std::min(bit, std::max(at_, bits_.first_bit_of(accounted_ + (kTooLongBytesMax - run_))));
    const std::uint64_t link_byte = std::max(accounted_, bits_.link_byte(at_));
    run_ += link_byte - accounted_;
    counts_.bytes_dropped += link_byte - accounted_;
    accounted_ = link_byte;
}

TmDeframer::Step TmDeframer::end_run(FrameVerdict next, Frame& frame) noexcept {
    const bool any = run_ > 0;
    if (any) {
        frame = {run_verdict_, accounted_ - run_, static_cast<std::uint32_t>(run_), {}};
        if (std::exchange(run_is_block_, false)) frame.received = kept_;
        ++counts_.frames_bad;
        run_ = 0;
    }
    run_verdict_ = next;
    return any ? Step::frame : Step::on;
}

std::optional<std::uint64_t> TmDeframer::start_here() const noexcept {
    const bool checked = format_.is_checked(), due = at_ == due_;
    const unsigned most =
        due ? (checked ? kDueErrors : kDueErrorsUnchecked) : (checked ? kSearchErrors : kSearchErrorsUnchecked);
    const unsigned errors = marker_errors(at_);
    if (due && errors > kSlipErrors)
        for (std::uint64_t back = 1; back <= kSlipBitsMost && bits_.begin() + back <= at_; ++back)
            if (marker_errors(at_ - back) <= kSlipErrors) return at_ - back;
    return errors <= most || (due && symbols_are_due()) ? std::optional(at_) : std::nullopt;
}

TmDeframer::Step TmDeframer::search(Frame& frame) noexcept {
    if (given_ < to_give_) return give_packet(frame);
    if (run_ >= kTooLongBytesMax) return end_run(FrameVerdict::outside, frame);
    if (failed_) { // the run before it has been reported
        failed_ = false;
        keep_received();
        skip_to(at_ + 1);
        return Step::on;
    }
    if (bits_.is_coded() && at_ >= pair_until_) {
        bits_.shift_pairs(at_);
        pair_until_ = at_ + 2 * format_.period_bits();
        due_ = kNever;
        return Step::on;
    }
    if (bits_.end() < at_ + kMarkerBits) return Step::wait;
    if (const auto start = start_here()) {
        if (bits_.end() < *start + format_.period_bits()) return Step::wait;
        return read_block(*start, frame);
    }
    if (at_ == due_) {
        due_ = ++missed_ < kMissedMost ? due_ + format_.period_bits() : kNever;
        return Step::on;
    }
    std::uint64_t to = std::min(bits_.end() - kMarkerBits + 1, due_);
    if (bits_.is_coded()) to = std::min(to, pair_until_);
    skip_to(bits_.find(kSyncMarker, format_.is_checked() ? kSearchErrors : kSearchErrorsUnchecked, at_ + 1, to));
    return Step::on;
}

TmDeframer::Step TmDeframer::read_block(std::uint64_t start, Frame& frame) noexcept {
    const FrameVerdict verdict = decode(start);
    if (verdict != FrameVerdict::good) {
        if (at_ == due_) { // the marker stands there: the search has not lost its place
            due_ += format_.period_bits();
            missed_ = 0;
            pair_until_ = due_ + kMissedMost * format_.period_bits();
        }
        failed_ = true;
        start_ = start;
        return end_run(verdict, frame);
    }
    if (end_run(FrameVerdict::outside, frame) == Step::frame) return Step::frame; // and the block is read again
    const std::uint64_t end = start + format_.period_bits();
    if (figures_.frames > 0 && start < newest_end_ + kMissedMost * format_.period_bits()) {
        const std::uint64_t off = (start + kSlipBitsMost - newest_end_) % format_.period_bits();
        figures_.bit_slips += off <= 2 * kSlipBitsMost && off != kSlipBitsMost ? 1 : 0;
    }
    newest_end_ = end;
    ++figures_.frames;
    figures_.marker_errors = marker_errors(start);
    figures_.is_inverted = inverted_;
    figures_.symbols_corrected += corrected_;
    figures_.symbols_checked += code_ ? block_.size() : 0;
    figures_.worst_corrected = std::max(figures_.worst_corrected, worst_);
    if (bits_.is_coded()) {
        figures_.channel_symbols += 2 * (end - at_);
        figures_.channel_errors += bits_.symbol_errors(at_, end);
    }
    run_is_block_ = false;
    sent_ = {};
    if (corrected_ == 0 && !inverted_ && !bits_.is_coded()) sent_ = bits_.view(start + kMarkerBits, block_.size());
    if (sent_.empty()) {
        keep_sent();
        sent_ = kept_;
    }
    packets_ = assembly_.take(std::span(block_).first(format_.frame_bytes));
    figures_.frames_lost = assembly_.counts().frames_lost;
    figures_.packets_cut = assembly_.counts().packets_cut;
    figures_.control_field = assembly_.counts().control_field;

    frame_offset_ = accounted_;
    frame_link_bytes_ = bits_.link_byte(end) - accounted_;
    accounted_ += frame_link_bytes_;
    counts_.bytes_framed += frame_link_bytes_;
    ++counts_.frames_good;
    given_ = 0;
    to_give_ = std::max<std::size_t>(packets_.size(), 1);
    at_ = due_ = end;
    missed_ = 0;
    pair_until_ = end + 2 * format_.period_bits();
    return give_packet(frame);
}

TmDeframer::Step TmDeframer::give_packet(Frame& frame) noexcept {
    const auto part_end = [&](std::size_t parts) { return frame_link_bytes_ * parts / to_give_; };
    const std::uint64_t from = part_end(given_), to = part_end(given_ + 1);
    frame = {FrameVerdict::good, frame_offset_ + from, static_cast<std::uint32_t>(to - from), {}};
    if (given_ < packets_.size()) frame.packet = packets_[given_];
    if (given_ == 0) frame.received = sent_;
    ++given_;
    return Step::frame;
}

void TmDeframer::keep_received() noexcept {
    run_is_block_ = !bits_.is_coded() || start_ == at_; // bytes before are not kept
    if (!run_is_block_) return;
    const bool inverted = is_inverted(start_);
    if (bits_.is_coded())
        bits_.copy_symbols(start_, kept_);
    else
        bits_.copy(start_ + kMarkerBits, kept_);
    if (inverted)
        for (std::byte& byte : kept_) byte = ~byte;
}

void TmDeframer::keep_sent() noexcept {
    const std::span<std::byte> block = std::span(kept_).last(block_.size());
    std::ranges::copy(block_, block.begin());
    if (format_.randomized) randomize(block);
    if (!bits_.is_coded()) return;
    // The symbols are written from the front, sixteen a byte, and reach what is still to be read with the last.
    ConvolutionalEncoder encoder;
    auto out = kept_.begin();
    const auto encode = [&](unsigned value, unsigned bits) {
        for (unsigned bit = bits; bit-- > 0;) {
            const unsigned symbols = encoder.symbols(value >> bit & 1U);
            *out++ = static_cast<std::byte>(symbols >= 2 ? 255 : 0);
            *out++ = static_cast<std::byte>(symbols % 2 == 1 ? 255 : 0);
        }
    };
    encode(kSyncMarker, kMarkerBits);
    for (const std::byte byte : block) encode(std::to_integer<unsigned>(byte), 8);
    encode(kSyncMarker, kMarkerBits);
}

Frame TmDeframer::judge_block(std::span<const std::byte> received) noexcept {
    Frame frame{FrameVerdict::bad_length, 0, static_cast<std::uint32_t>(received.size()), {}};
    if (received.size() != kept_.size()) return frame;
    if (!bits_.is_coded()) {
        std::ranges::copy(received, block_.begin());
    } else {
        judge_decoder_.restart();
        constexpr std::size_t kGroupBytes = ViterbiDecoder::kBits / 8, kMarkerBytes = kMarkerBits / 8;
        std::size_t made = 0;
        for (std::size_t at = 0; made < kMarkerBytes + block_.size(); at += 2) {
            const auto symbol = [&](std::size_t k) {
                return k < received.size() ? std::to_integer<SoftSymbol>(received[k]) : kUnknown;
            };
            if (!judge_decoder_.push(symbol(at), symbol(at + 1))) continue;
            for (std::size_t k = 0; k < kGroupBytes; ++k, ++made)
                if (made >= kMarkerBytes && made < kMarkerBytes + block_.size())
                    block_[made - kMarkerBytes] =
                        static_cast<std::byte>(judge_decoder_.bits() >> 8 * (kGroupBytes - 1 - k) & 0xFFU);
        }
    }
    packets_ = {};
    frame.verdict = decode_block();
    if (frame.verdict != FrameVerdict::good) return frame;
    keep_sent();
    packets_ = assembly_.take(std::span(block_).first(format_.frame_bytes));
    frame.received = kept_;
    frame.link_bytes = static_cast<std::uint32_t>(bits_.link_byte(format_.period_bits()));
    if (!packets_.empty()) frame.packet = packets_.front();
    return frame;
}

FrameVerdict TmDeframer::decode(std::uint64_t start) noexcept {
    bits_.copy(start + kMarkerBits, block_);
    inverted_ = is_inverted(start);
    if (inverted_)
        for (std::byte& byte : block_) byte = ~byte;
    return decode_block();
}

FrameVerdict TmDeframer::decode_block() noexcept {
    if (format_.randomized) randomize(block_);
    corrected_ = worst_ = 0;
    if (code_)
        if (const FrameVerdict verdict = correct(); verdict != FrameVerdict::good) return verdict;
    const std::span<const std::byte> frame = std::span(block_).first(format_.frame_bytes);
    if (format_.error_control && crc16(frame) != 0) return FrameVerdict::bad_crc;
    return decode_transfer_header(frame).version == 0 ? FrameVerdict::good : FrameVerdict::not_data;
}

FrameVerdict TmDeframer::correct() noexcept {
    const std::size_t depth = format_.interleave;
    const std::span<std::byte> codeword = std::span(codeword_).first(block_.size() / depth);
    for (std::size_t k = 0; k < depth; ++k) {
        for (std::size_t i = 0; i < codeword.size(); ++i) codeword[i] = block_[i * depth + k];
        if (format_.dual_basis) to_conventional_basis(codeword);
        const auto corrected = code_->correct(codeword);
        if (!corrected) return FrameVerdict::uncorrectable;
        corrected_ += *corrected;
        worst_ = std::max(worst_, *corrected);
        if (*corrected == 0) continue;
        if (format_.dual_basis) to_dual_basis(codeword);
        for (std::size_t i = 0; i < codeword.size(); ++i) block_[i * depth + k] = codeword[i];
    }
    return FrameVerdict::good;
}

} // namespace turnstone
