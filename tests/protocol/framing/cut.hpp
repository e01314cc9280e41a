#pragma once
/// A stream through a deframer, in pieces, with the account checked after each; and what came out.
#include <algorithm>
#include <vector>

#include <catch2/catch.hpp>

#include "protocol/framing/frame.hpp"
#include "tests/protocol/bytes.hpp"

namespace turnstone::test {

struct CutFrame {
    FrameVerdict verdict;
    std::uint64_t stream_offset;
    std::uint32_t link_bytes;
    Bytes packet; ///< of good frames
    friend bool operator==(const CutFrame&, const CutFrame&) = default;
};

struct Cut {
    std::vector<CutFrame> frames;
    std::vector<Bytes> received; ///< of each
    DeframerCounts counts;
    Bytes pending;

    [[nodiscard]] long count(FrameVerdict verdict) const {
        return std::count_if(
            frames.begin(), frames.end(), [&](const CutFrame& f) { return f.verdict == verdict; });
    }
    [[nodiscard]] std::uint64_t bytes(FrameVerdict verdict) const {
        std::uint64_t sum = 0;
        for (const CutFrame& frame : frames)
            if (frame.verdict == verdict) sum += frame.link_bytes;
        return sum;
    }
};

/// Pieces of the given sizes in turn; 0: all that is left.
template <class Deframer>
Cut cut(Deframer deframer, std::span<const std::byte> stream, const std::vector<std::size_t>& sizes = {0}) {
    Cut out;
    for (std::size_t at = 0, i = 0; at < stream.size(); ++i) {
        const std::size_t size = std::min(sizes[i % sizes.size()], stream.size() - at);
        const Exact piece(stream.subspan(at, size == 0 ? stream.size() - at : size));
        deframer.push(piece.span(), [&](const Frame& frame) {
            const bool good = frame.verdict == FrameVerdict::good;
            out.frames.push_back({frame.verdict, frame.stream_offset, frame.link_bytes,
                                  good ? Bytes(frame.packet.begin(), frame.packet.end()) : Bytes()});
            out.received.emplace_back(frame.received.begin(), frame.received.end());
            if constexpr (requires { Frame{deframer.judge(frame.received)}; }) {
                const Frame again = deframer.judge(out.received.back()); // as if it had been put together of copies
                const bool is_good = again.verdict == FrameVerdict::good;
                if (good) REQUIRE(is_good);
                if (good) REQUIRE(again.packet.size() == out.frames.back().packet.size());
            }
        });
        at += piece.span().size();
        const DeframerCounts& counts = deframer.counts();
        REQUIRE(counts.bytes_in == at);
        REQUIRE(counts.bytes_in == counts.bytes_framed + counts.bytes_dropped + deframer.pending().size());
    }
    out.counts = deframer.counts();
    out.pending.assign(deframer.pending().begin(), deframer.pending().end());
    return out;
}

/// Any split of the stream gives the same frames and the same account.
template <class Deframer>
void check_splits(const Deframer& deframer, std::span<const std::byte> stream) {
    const Cut whole = cut(deframer, stream);
    for (const std::vector<std::size_t>& sizes :
         std::vector<std::vector<std::size_t>>{{1}, {2}, {3, 1, 7}, {64}, {1000, 1}}) {
        const Cut split = cut(deframer, stream, sizes);
        REQUIRE(split.frames == whole.frames);
        REQUIRE(split.received == whole.received);
        REQUIRE(split.counts.bytes_framed == whole.counts.bytes_framed);
        REQUIRE(split.counts.bytes_dropped == whole.counts.bytes_dropped);
        REQUIRE(split.pending == whole.pending);
    }
}

inline Bytes bytes_of(std::string_view text) {
    const auto bytes = std::as_bytes(std::span(text));
    return {bytes.begin(), bytes.end()};
}

inline std::string text_of(std::span<const std::byte> bytes) {
    return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

} // namespace turnstone::test
