/// Several receivers of a few frames that resemble each other: whatever is lost, damaged, broken or late, what is put
/// together is a frame, and the accounts hold. The first byte says how many receivers; then three bytes each: which of
/// them, which frame and how long since the last, what happens to it.
#include <algorithm>
#include <array>
#include <cstdint>
#include <vector>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "server/pipeline/link/receivers.hpp"
#include "tests/fuzz/framings.hpp"

namespace {

using namespace turnstone;
using fuzz::demand;

constexpr std::size_t kFrames = 8;

std::vector<std::byte> frame_of(unsigned number) {
    std::vector<std::byte> plain(11 + 5 * (number % 3));
    plain[0] = std::byte{0x08};
    plain[1] = std::byte{0x10};
    plain[2] = std::byte{0xC0};
    plain[3] = static_cast<std::byte>(number);
    plain[5] = static_cast<std::byte>(plain.size() - kPrimaryHeaderBytes - 1);
    for (std::size_t k = kPrimaryHeaderBytes; k < plain.size(); ++k) plain[k] = static_cast<std::byte>(0x35 * k);
    const std::uint16_t crc = crc16(plain);
    plain.push_back(static_cast<std::byte>(crc >> 8U));
    plain.push_back(static_cast<std::byte>(crc & 0xFFU));
    std::vector<std::byte> out(plain.size() + cobs_overhead_max(plain.size()) + 1);
    out.resize(cobs_encode(plain, out).produced + 1);
    return out;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    static const auto frames = [] {
        std::array<std::vector<std::byte>, kFrames> out;
        for (std::size_t k = 0; k < kFrames; ++k) out[k] = frame_of(static_cast<unsigned>(k / 2));
        return out;
    }();
    const std::size_t links = 1 + data[0] % 70;
    std::vector<CombinedLink> combined;
    for (std::size_t link = 0; link < links; ++link)
        combined.push_back({static_cast<LinkId>(link), {false, 1.0 / 16, std::byte{0}, kWrongVotePasses}});
    Receivers receivers(links + 1, combined);
    std::vector<Deframer> deframers(links);
    std::vector<std::uint64_t> damaged(links);
    Deframer judge;
    std::int64_t t_ns = 1'000'000'000'000, rejected = 0;
    for (std::size_t at = 1; at + 3 <= size; at += 3) {
        const std::size_t link = data[at] % links;
        std::vector<std::byte> bytes = frames[data[at + 1] % kFrames];
        t_ns += 1'000'000LL * (data[at + 1] / kFrames) * (data[at + 1] / kFrames);
        const unsigned what = data[at + 2];
        if (what >= 16) bytes[what / 8 % bytes.size()] ^= static_cast<std::byte>(1U << what % 8);
        if (what == 1) bytes.pop_back();
        if (what == 2) bytes.erase(bytes.begin());
        if (what == 3) bytes.insert(bytes.end(), bytes.begin(), bytes.end());
        deframers[link].push(bytes, [&](const Frame& frame) {
            if (frame.verdict == FrameVerdict::good) {
                receivers.good(static_cast<LinkId>(link), t_ns, frame.received);
                return;
            }
            ++damaged[link];
            for (auto vote = receivers.damaged(static_cast<LinkId>(link), t_ns, frame); !vote.empty();
                 vote = receivers.more(t_ns)) {
                demand(links >= 3);
                if (judge.judge(vote).verdict == FrameVerdict::good) {
                    receivers.accept(t_ns, vote);
                } else {
                    receivers.reject(t_ns);
                    ++rejected;
                }
            }
        });
    }
    demand(rejected <= kWrongVotesAnHour + (t_ns - 1'000'000'000'000) / 1'000'000'000);
    for (std::size_t link = 0; link < links; ++link) {
        // One that has run together with others may hold copies of several frames.
        demand(receivers.counts(static_cast<LinkId>(link)).combined_from <= 3 * damaged[link]);
        demand(receivers.counts(static_cast<LinkId>(link)).only == 0);
    }
    return 0;
}
