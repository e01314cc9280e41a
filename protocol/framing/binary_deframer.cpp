#include "protocol/framing/binary_deframer.hpp"

namespace turnstone {
namespace {

std::uint64_t number_of(std::span<const std::byte> bytes, bool little) noexcept {
    std::uint64_t value = 0;
    for (std::size_t k = 0; k < bytes.size(); ++k)
        value = value << 8U | std::to_integer<std::uint64_t>(bytes[little ? bytes.size() - 1 - k : k]);
    return value;
}

void append_number(std::vector<std::byte>& out, std::uint64_t value, std::size_t bytes, bool little) {
    for (std::size_t k = 0; k < bytes; ++k)
        out.push_back(static_cast<std::byte>(value >> 8 * (little ? k : bytes - 1 - k) & 0xFFU));
}

/// What the number in a length field counts besides the payload.
std::size_t besides_payload(const BinaryFormat& format) noexcept {
    switch (format.counts) {
    case LengthCounts::payload: return 0;
    case LengthCounts::payload_and_crc: return format.crc_bytes();
    case LengthCounts::after_sync: return format.length_bytes + format.crc_bytes();
    case LengthCounts::frame: break;
    }
    return format.head_bytes() + format.crc_bytes();
}

/// Where what the CRC covers begins. It is one piece: the sync alone is never covered.
std::size_t covered_from(const BinaryFormat& format) noexcept {
    return format.crc_covers_sync ? 0 : format.crc_covers_length ? format.sync.size() : format.head_bytes();
}

} // namespace

BinaryDeframer::BinaryDeframer(const BinaryFormat& format)
    : format_(format), held_(2 * format.frame_bytes_max() + 64), packet_(format.apid, format.payload_bytes),
      run_bytes_(2 * format.frame_bytes_max()) {
    if (format_.crc) crc_.emplace(*format_.crc);
}

void BinaryDeframer::skip(std::size_t bytes) noexcept {
    if (run_kept_ >= run_ && run_ + bytes <= run_bytes_.size() && run_ + bytes > run_kept_) {
        const std::size_t known = run_kept_ - run_;
        std::memcpy(run_bytes_.data() + run_kept_, pending().data() + known, bytes - known);
        run_kept_ = run_ + bytes;
    }
    held_.pass(bytes);
    run_ += bytes;
    counts_.bytes_dropped += bytes;
}

BinaryDeframer::Step BinaryDeframer::end_run(FrameVerdict next, Frame& frame) noexcept {
    const bool any = run_ > 0;
    if (any) {
        frame = {run_verdict_, held_.offset() - run_, static_cast<std::uint32_t>(run_), {}};
        if (run_kept_ >= run_) frame.received = std::span(run_bytes_).first(run_kept_);
        ++counts_.frames_bad;
        run_ = run_kept_ = 0;
    }
    run_verdict_ = next;
    return any ? Step::frame : Step::on;
}

BinaryDeframer::Step BinaryDeframer::search(Frame& frame) noexcept {
    if (run_ >= kTooLongBytesMax) return end_run(FrameVerdict::outside, frame);
    const std::span<const std::byte> rest = pending();
    const bool is_blocks = format_.sync.empty();
    if (failed_ != FrameVerdict::good) { // the run before it has been reported
        failed_ = FrameVerdict::good;
        if (run_ == 0) {
            run_kept_ = failed_bytes_;
            std::memcpy(run_bytes_.data(), rest.data(), run_kept_);
        }
        skip(1);
        if (is_blocks && run_ == format_.frame_bytes_max()) return end_run(FrameVerdict::bad_crc, frame);
        return Step::on;
    }
    const std::size_t sync_bytes = format_.sync.size();
    if (sync_bytes > 0 && !rest.empty()) {
        const void* first = std::memchr(rest.data(), std::to_integer<int>(format_.sync[0]), rest.size());
        const std::size_t before = first == nullptr
                                       ? rest.size()
                                       : static_cast<std::size_t>(static_cast<const std::byte*>(first) - rest.data());
        if (before > 0) {
            skip(std::min(before, kTooLongBytesMax - run_));
            return Step::on;
        }
        const std::size_t compared = std::min(rest.size(), sync_bytes);
        if (std::memcmp(rest.data(), format_.sync.data(), compared) != 0) {
            skip(1);
            return Step::on;
        }
    }
    if (rest.empty() || rest.size() < format_.head_bytes()) return Step::wait;
    const auto fail = [&](FrameVerdict verdict, std::size_t candidate_bytes) {
        failed_ = verdict;
        failed_bytes_ = candidate_bytes;
        if (!is_blocks) return end_run(verdict, frame);
        run_verdict_ = verdict;
        return Step::on;
    };
    const auto told = payload_bytes(rest);
    if (!told) return fail(FrameVerdict::bad_length, 0);
    const std::size_t frame_bytes = format_.head_bytes() + *told + format_.crc_bytes();
    if (rest.size() < frame_bytes) return Step::wait;
    if (crc_ && !crc_fits(rest.first(frame_bytes))) return fail(FrameVerdict::bad_crc, frame_bytes);
    if (end_run(FrameVerdict::outside, frame) == Step::frame) return Step::frame;
    frame = {FrameVerdict::good, held_.offset(), static_cast<std::uint32_t>(frame_bytes),
             packet_.of(rest.subspan(format_.head_bytes(), *told)), rest.first(frame_bytes)};
    held_.pass(frame_bytes);
    counts_.bytes_framed += frame_bytes;
    ++counts_.frames_good;
    return Step::frame;
}

std::optional<std::size_t> BinaryDeframer::payload_bytes(std::span<const std::byte> frame) const noexcept {
    if (format_.length_bytes == 0) return format_.payload_bytes;
    const std::uint64_t told =
        number_of(frame.subspan(format_.sync.size(), format_.length_bytes), format_.length_little);
    const std::size_t besides = besides_payload(format_);
    if (told < besides || told - besides > format_.payload_bytes) return std::nullopt;
    return static_cast<std::size_t>(told) - besides;
}

Frame BinaryDeframer::judge(std::span<const std::byte> bytes) noexcept {
    Frame frame{FrameVerdict::outside, 0, static_cast<std::uint32_t>(bytes.size()), {}, bytes};
    if (bytes.size() < format_.head_bytes() || !std::ranges::equal(bytes.first(format_.sync.size()), format_.sync))
        return frame;
    frame.verdict = FrameVerdict::bad_length;
    const auto told = payload_bytes(bytes);
    if (!told || format_.head_bytes() + *told + format_.crc_bytes() != bytes.size()) return frame;
    frame.verdict = crc_ && !crc_fits(bytes) ? FrameVerdict::bad_crc : FrameVerdict::good;
    if (frame.verdict != FrameVerdict::good) return frame;
    frame.packet = packet_.of(bytes.subspan(format_.head_bytes(), *told));
    packet_.take_back();
    return frame;
}

bool BinaryDeframer::crc_fits(std::span<const std::byte> frame) const noexcept {
    const std::size_t from = covered_from(format_), crc_bytes = format_.crc_bytes();
    const std::span<const std::byte> covered = frame.subspan(from, frame.size() - crc_bytes - from);
    return crc_->of(covered) == number_of(frame.last(crc_bytes), format_.crc_little);
}

std::vector<std::byte> encode_binary_frame(const BinaryFormat& format, std::span<const std::byte> payload) {
    std::vector<std::byte> out = format.sync;
    append_number(out, payload.size() + besides_payload(format), format.length_bytes, format.length_little);
    out.insert(out.end(), payload.begin(), payload.end());
    if (!format.crc) return out;
    const std::uint32_t crc = Crc(*format.crc).of(std::span(out).subspan(covered_from(format)));
    append_number(out, crc, format.crc_bytes(), format.crc_little);
    return out;
}

} // namespace turnstone
