#pragma once
/// What fuzz targets of framings share: any split gives the same frames, and every byte is accounted for.
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <vector>

#include "protocol/framing/crc16.hpp"
#include "protocol/framing/frame.hpp"

namespace turnstone::fuzz {

inline void demand(bool holds) {
    if (!holds) std::abort();
}

struct Seen {
    std::vector<std::uint64_t> numbers; ///< verdict, offset, bytes, content and what is kept of every frame
    DeframerCounts counts;
};

template <class Deframer>
Seen cut(Deframer deframer, std::span<const std::byte> bytes, unsigned seed) {
    Seen seen;
    while (!bytes.empty()) {
        seed = seed * 1103515245U + 12345U;
        const std::size_t size =
            seed % 2 == 0 ? bytes.size() : std::min<std::size_t>(bytes.size(), 1 + seed / 65536U % 97);
        deframer.push(bytes.first(size), [&](const Frame& frame) {
            const auto content = frame.verdict == FrameVerdict::good ? frame.packet : std::span<const std::byte>{};
            seen.numbers.insert(seen.numbers.end(),
                                {static_cast<std::uint64_t>(frame.verdict), frame.stream_offset, frame.link_bytes,
                                 content.size(), crc16(content), frame.received.size(), crc16(frame.received)});
            if constexpr (requires { deframer.judge(frame.received).verdict; }) {
                const std::vector<std::byte> received(frame.received.begin(), frame.received.end());
                if (received.empty()) return;
                const bool good = frame.verdict == FrameVerdict::good;
                demand((deframer.judge(received).verdict == FrameVerdict::good) || !good);
            }
        });
        bytes = bytes.subspan(size);
        const DeframerCounts& counts = deframer.counts();
        demand(counts.bytes_in == counts.bytes_framed + counts.bytes_dropped + deframer.pending().size());
    }
    seen.counts = deframer.counts();
    return seen;
}

template <class Deframer>
void check(const Deframer& deframer, std::span<const std::byte> bytes, unsigned seed) {
    const Seen whole = cut(deframer, bytes, 0);
    const Seen split = cut(deframer, bytes, 2U * seed + 1U);
    demand(whole.numbers == split.numbers);
    demand(whole.counts.bytes_dropped == split.counts.bytes_dropped);
    demand(whole.counts.frames_good == split.counts.frames_good);
}

} // namespace turnstone::fuzz
