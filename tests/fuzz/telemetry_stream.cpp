// Telemetry streams and packets one behind the other: cut alike in any split. The first bytes choose the format and
// seed the split.
#include "protocol/space_link/packet_deframer.hpp"
#include "protocol/space_link/tm_deframer.hpp"
#include "tests/fuzz/framings.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    if (size < 3) return 0;
    const auto bytes = std::as_bytes(std::span(data + 3, size - 3));
    const unsigned choice = data[0];
    if (choice >= 0xE0) {
        KnownPackets known;
        known.apids.set(1).set(5).set(data[1]);
        fuzz::check(PacketDeframer(std::vector<std::byte>(choice % 3, std::byte{0x1A}), known), bytes, data[2]);
        return 0;
    }
    TmFormat format;
    format.symbols = static_cast<ChannelSymbols>(choice % 4 % kWords<ChannelSymbols>.size());
    format.randomized = (choice & 4U) != 0;
    format.error_control = (choice & 8U) != 0;
    format.frame_bytes = kTransferFrameBytesMin + data[1] % 64;
    if ((choice & 0x10U) != 0) {
        format.correctable = (choice & 0x20U) != 0 ? 16 : 8;
        format.interleave = 1 + data[1] % kInterleaveMost;
        format.frame_bytes = format.interleave * (kTransferFrameBytesMin + data[1] % 64);
        format.dual_basis = (choice & 0x40U) != 0;
    }
    fuzz::check(TmDeframer(format, 200), bytes, data[2]);
    // Whatever copies give together: it is a frame or not, and what was good is good again.
    TmDeframer deframer(format, 200), judge(format, 200);
    deframer.push(bytes, [&](const Frame& frame) {
        if (frame.received.empty()) return;
        judge.judge(frame.received, [&](const Frame& again) {
            fuzz::demand(again.verdict == FrameVerdict::good || frame.verdict != FrameVerdict::good);
        });
    });
    judge.judge(bytes, [](const Frame&) {});
    return 0;
}
