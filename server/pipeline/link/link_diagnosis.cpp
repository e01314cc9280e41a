#include "server/pipeline/link/link_diagnosis.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "protocol/framing/deframer.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kNoFrameNs = 6 * kNsPerS;
/// After a longer silence what comes is judged afresh.
constexpr std::int64_t kSilenceNs = 10 * kNsPerS;
/// Bytes of a good frame's neighbourhood say nothing of what comes after it.
constexpr std::int64_t kSampleAfterNs = 2 * kNsPerS;
// Where no good frame ever came: bytes that show what they are, frames that are bad one after another, or more bytes
// than a frame has.
constexpr std::uint64_t kTellingBytes = 32;
constexpr std::uint64_t kBadFrames = 5;
// Where good frames came before: more bad ones in a row than its losses so far would bring once in a million times.
constexpr std::uint64_t kTellingBytesLater = 256;
constexpr double kBadFramesLater = 100;
constexpr double kMillion = 1e6;

constexpr std::int64_t kUnreadableApartNs = 10 * kNsPerS;
constexpr std::int64_t kUnreadableOverNs = 30 * kNsPerS;

constexpr std::int64_t kFramesRepeatNs = 5 * kNsPerS;
constexpr std::uint64_t kFramesRepeat = 4;

constexpr std::int64_t kTimeStuckNs = 5 * kNsPerS;
constexpr std::uint64_t kTimeStuckPackets = 4;

bool is_telling(ByteLook look) {
    return look == ByteLook::one_byte || look == ByteLook::nmea || look == ByteLook::text;
}

} // namespace

void LinkDiagnosis::bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes) noexcept {
    if (!any_byte_ || t_rx_ns - t_byte_ns_ > kSilenceNs) {
        t_since_ns_ = t_rx_ns;
        bytes_since_ = bad_since_ = bad_checksum_since_ = 0;
        sample_.clear();
    }
    any_byte_ = true;
    t_byte_ns_ = t_rx_ns;
    bytes_since_ += bytes.size();
    if (good_ == 0 || t_rx_ns - t_since_ns_ >= kSampleAfterNs) sample_.push(bytes);
}

void LinkDiagnosis::bad_frame(FrameVerdict verdict) noexcept {
    ++bad_since_;
    if (verdict == FrameVerdict::bad_crc) ++bad_checksum_since_;
}

void LinkDiagnosis::good_frame(const PacketOutcome& outcome) {
    const FrameRecord& frame = outcome.record;
    ++good_;
    bad_ += bad_since_;
    t_since_ns_ = frame.t_rx_ns;
    bytes_since_ = bad_since_ = bad_checksum_since_ = 0;
    sample_.clear();
    if (outcome.told_version)
        told_version_ = *outcome.told_version == *version_ ? std::string() : std::string(*outcome.told_version);
    if (frame.packet_verdict == PacketVerdict::undecodable) unreadable(frame);
    repeated(frame);
    if (frame.packet_verdict != PacketVerdict::accepted && frame.packet_verdict != PacketVerdict::late) return;
    judged(outcome);
    if (frame.onboard_ns < 0) return;
    t_packet_ns_ = frame.t_rx_ns;
    if (frame.onboard_ns == onboard_ns_ && frame.boot == boot_) {
        ++same_time_;
        return;
    }
    onboard_ns_ = frame.onboard_ns;
    boot_ = frame.boot;
    t_onboard_ns_ = frame.t_rx_ns;
    same_time_ = 1;
}

void LinkDiagnosis::unreadable(const FrameRecord& frame) noexcept {
    const auto same = [&](const Unreadable& known) {
        return known.count > 0 && known.apid == frame.apid && known.reason == frame.decode_verdict;
    };
    auto place = std::find_if(unreadable_.begin(), unreadable_.end(), same);
    if (place == unreadable_.end()) {
        // The one not seen for longest makes room.
        place = std::min_element(unreadable_.begin(), unreadable_.end(), [](const Unreadable& a, const Unreadable& b) {
            return a.count == 0 ? b.count > 0 : b.count > 0 && a.t_last_ns < b.t_last_ns;
        });
        *place = {.apid = frame.apid, .reason = frame.decode_verdict};
    }
    place->link_bytes = frame.link_bytes;
    place->t_before_ns = place->t_last_ns;
    place->t_last_ns = frame.t_rx_ns;
    ++place->count;
}

void LinkDiagnosis::judged(const PacketOutcome& outcome) {
    const auto known = std::ranges::find(unfit_, outcome.record.apid, &Unfit::apid);
    if (outcome.unfit.empty()) {
        if (known != unfit_.end()) unfit_.erase(known);
    } else if (known == unfit_.end()) {
        unfit_.push_back({outcome.record.apid, {outcome.unfit.begin(), outcome.unfit.end()}});
    }
}

/// Two packets are taken for the same when their kind, count, time and size are: after the first such on any link they
/// are duplicates, so that nothing else would show it.
void LinkDiagnosis::repeated(const FrameRecord& frame) noexcept {
    if (frame.packet_verdict == PacketVerdict::idle || frame.packet_verdict == PacketVerdict::undecodable) return;
    const bool is_same = same_packets_ > 0 && frame.apid == same_.apid &&
                         frame.sequence_count == same_.sequence_count && frame.onboard_ns == same_.onboard_ns &&
                         frame.boot == same_.boot && frame.link_bytes == same_.link_bytes;
    if (!is_same) {
        same_ = frame;
        same_packets_ = 0;
    }
    t_same_ns_ = frame.t_rx_ns;
    ++same_packets_;
}

bool LinkDiagnosis::no_frames(std::int64_t t_ns) const {
    const bool good_before = good_ > 0;
    if (!any_byte_ || (ended_ && good_before)) return false;
    if (!ended_) {
        if (t_ns - t_since_ns_ < kNoFrameNs || t_ns - t_byte_ns_ > kSilenceNs) return false;
        if (t_byte_ns_ - t_since_ns_ < kNoFrameNs - kNsPerS) return false; // one burst is not a stream
    }
    if (good_before) {
        const double damaged = std::min(0.999, static_cast<double>(bad_) / static_cast<double>(bad_ + good_));
        const double enough = std::max(kBadFramesLater, std::log(kMillion) / -std::log(std::max(damaged, 1e-9)));
        // A run without a delimiter counts by the frames it could have been.
        if (static_cast<double>(std::max(bad_since_, bytes_since_ / kFrameBytesMax)) >= enough) return true;
    } else if (bad_since_ >= kBadFrames || bytes_since_ >= kFrameBytesMax) {
        return true;
    }
    if (bytes_since_ < (good_before ? kTellingBytesLater : kTellingBytes)) return false;
    return is_telling(look_at(sample_.bytes()).look);
}

std::optional<LinkTrouble> LinkDiagnosis::trouble(std::int64_t t_ns) const {
    if (no_frames(t_ns)) return LinkTrouble::no_frames;
    if (!told_version_.empty()) return LinkTrouble::dictionary_differs;
    for (const Unreadable& known : unreadable_)
        if (known.count > 1 && known.t_last_ns - known.t_before_ns <= kUnreadableApartNs &&
            t_ns - known.t_last_ns <= kUnreadableOverNs)
            return LinkTrouble::unreadable;
    if (!unfit_.empty()) return LinkTrouble::values_impossible;
    if (same_packets_ >= kFramesRepeat && t_same_ns_ - same_.t_rx_ns >= kFramesRepeatNs)
        return LinkTrouble::frames_repeat;
    if (same_time_ >= kTimeStuckPackets && t_packet_ns_ - t_onboard_ns_ >= kTimeStuckNs) return LinkTrouble::time_stuck;
    return std::nullopt;
}

EventValues LinkDiagnosis::facts(LinkTrouble trouble, std::int64_t t_ns) const {
    EventValues values{{"cause", std::string(word(trouble))}};
    switch (trouble) {
    case LinkTrouble::no_frames: {
        const BytesSeen seen = look_at(sample_.bytes());
        values.push_back({"looks_like", std::string(word(seen.look))});
        if (seen.look == ByteLook::one_byte) values.push_back({"byte_hex", fmt::format("{:02X}", seen.bytes[0])});
        if (seen.look == ByteLook::start_bytes)
            values.push_back({"start_hex", fmt::format("{:02X} {:02X}", seen.bytes[0], seen.bytes[1])});
        values.push_back({"bytes", static_cast<double>(bytes_since_)});
        values.push_back({"for_s", seconds_between(t_since_ns_, t_ns)});
        values.push_back({"bad_frames", static_cast<double>(bad_since_)});
        values.push_back({"good_before", good_ > 0});
        values.push_back({"bad_checksums", static_cast<double>(bad_checksum_since_)});
        break;
    }
    case LinkTrouble::dictionary_differs:
        values.push_back({"station_version", *version_});
        values.push_back({"vehicle_version", told_version_});
        break;
    case LinkTrouble::unreadable: {
        // Parallel lists: one place for each kind.
        std::vector<std::string> apids, bytes, reasons, counts;
        for (const Unreadable& known : unreadable_) {
            if (known.count == 0 || t_ns - known.t_last_ns > kUnreadableOverNs) continue;
            apids.push_back(std::to_string(known.apid));
            bytes.push_back(std::to_string(known.link_bytes));
            reasons.emplace_back(word(known.reason));
            counts.push_back(std::to_string(known.count));
        }
        values.push_back({"apids", std::move(apids)});
        values.push_back({"frame_bytes", std::move(bytes)});
        values.push_back({"reasons", std::move(reasons)});
        values.push_back({"counts", std::move(counts)});
        break;
    }
    case LinkTrouble::values_impossible: {
        std::vector<std::string> all;
        for (const Unfit& one : unfit_) all.insert(all.end(), one.values.begin(), one.values.end());
        values.push_back({"values", std::move(all)});
        break;
    }
    case LinkTrouble::frames_repeat:
        values.push_back({"apid", static_cast<double>(same_.apid)});
        values.push_back({"packets", static_cast<double>(same_packets_)});
        values.push_back({"for_s", seconds_between(same_.t_rx_ns, t_same_ns_)});
        break;
    case LinkTrouble::time_stuck:
        values.push_back({"onboard_s", seconds_between(0, onboard_ns_)});
        values.push_back({"packets", static_cast<double>(same_time_)});
        values.push_back({"for_s", seconds_between(t_onboard_ns_, t_packet_ns_)});
        break;
    }
    return values;
}

} // namespace turnstone
