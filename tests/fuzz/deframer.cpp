// Link bytes: any split gives the same frames, and every byte is accounted for. The first byte seeds the split.
#include <cstdint>
#include <cstdlib>
#include <vector>

#include "protocol/framing/crc16.hpp"
#include "protocol/framing/deframer.hpp"

namespace {

using namespace turnstone;

struct Seen {
    std::vector<std::uint64_t> numbers; ///< verdict, offset, bytes and content of every frame
    DeframerCounts counts;
};

void require(bool condition) {
    if (!condition) std::abort();
}

Seen deframe(std::span<const std::byte> bytes, unsigned seed) {
    Seen seen;
    Deframer deframer;
    while (!bytes.empty()) {
        seed = seed * 1103515245U + 12345U;
        const std::size_t size =
            seed % 2 == 0 ? bytes.size() : std::min<std::size_t>(bytes.size(), 1 + seed / 65536U % 97);
        deframer.push(bytes.first(size), [&](const Frame& frame) {
            seen.numbers.insert(seen.numbers.end(), {static_cast<std::uint64_t>(frame.verdict), frame.stream_offset,
                                                     frame.link_bytes, frame.packet.size(), crc16(frame.packet)});
        });
        bytes = bytes.subspan(size);
        const DeframerCounts& counts = deframer.counts();
        require(counts.bytes_in == counts.bytes_framed + counts.bytes_dropped + deframer.pending().size());
    }
    seen.counts = deframer.counts();
    return seen;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    const auto bytes = std::as_bytes(std::span(data + 1, size - 1));
    const Seen whole = deframe(bytes, 0);
    const Seen split = deframe(bytes, 2U * data[0] + 1U);
    require(whole.numbers == split.numbers);
    require(whole.counts.bytes_dropped == split.counts.bytes_dropped);
    require(whole.counts.frames_good == split.counts.frames_good);
    return 0;
}
