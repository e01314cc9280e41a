// Bytes -> frames with each framing, beside the least that any reader of it must do on the same bytes: find the
// delimiter, undo the stuffing, check. The median of several runs each.
#include <cstdio>
#include <cstring>
#include <functional>
#include <string>
#include <vector>

#include "protocol/framing/escaped_deframer.hpp"
#include "tools/benchmarks/measure.hpp"

namespace {

using namespace turnstone;

constexpr std::size_t kReadBytes = 4096;
constexpr unsigned kFrames = 100'000;
constexpr std::size_t kPacketBytes = 64;

std::uint64_t sink = 0;

/// Space packets of random content, each in a frame.
std::vector<std::byte> link_of(const EscapedFormat& format) {
    std::vector<std::byte> out, packet(kPacketBytes);
    std::uint32_t random = 1;
    for (unsigned k = 0; k < kFrames; ++k) {
        for (std::byte& byte : packet) byte = static_cast<std::byte>((random = random * 1664525U + 1013904223U) >> 24U);
        packet[4] = std::byte{0};
        packet[5] = static_cast<std::byte>(kPacketBytes - 7);
        const auto frame = encode_escaped_frame(format, packet);
        out.insert(out.end(), frame.begin(), frame.end());
    }
    return out;
}

template <class Cutter>
void read(Cutter deframer, const std::vector<std::byte>& link) {
    for (std::size_t at = 0; at < link.size(); at += kReadBytes)
        deframer.push(std::span(link).subspan(at, std::min(kReadBytes, link.size() - at)), [](const Frame& frame) {
            if (frame.verdict == FrameVerdict::good) sink += frame.packet.size();
        });
}

/// Flags, unstuffing and CRC, with nothing kept between reads and nothing judged.
void bare(const EscapedFormat& format, const std::vector<std::byte>& link) {
    std::vector<std::byte> plain(4 * kPacketBytes);
    const std::optional<Crc> crc = format.crc ? std::optional<Crc>(*format.crc) : std::nullopt;
    const std::byte* at = link.data();
    const std::byte* const end = at + link.size();
    while (at < end) {
        const auto* flag = static_cast<const std::byte*>(std::memchr(
            at, std::to_integer<int>(delimiter_of(format.stuffing)), static_cast<std::size_t>(end - at)));
        const std::span<const std::byte> stuffed(at, static_cast<std::size_t>(flag - at));
        at = flag + 1;
        if (stuffed.empty()) continue;
        const UnstuffResult result = unstuff(format.stuffing, stuffed, plain);
        sink += crc ? crc->of(std::span(plain).first(result.produced)) & 1U : result.produced;
    }
}

} // namespace

int main() {
    struct Case {
        std::string name;
        EscapedFormat format;
    };
    std::vector<Case> cases(4);
    cases[0] = {"HDLC-like, FCS-16", {}};
    cases[0].format.crc = crc_kind_from_text("CRC-16/IBM-SDLC");
    cases[1] = {"HDLC-like, FCS-32", {}};
    cases[1].format.crc = crc_kind_from_text("CRC-32/ISO-HDLC");
    cases[2] = {"SLIP", {}};
    cases[2].format.stuffing = Stuffing::slip;
    cases[3] = {"KISS", {}};
    cases[3].format.stuffing = Stuffing::kiss;

    bench::Race race;
    std::vector<std::vector<std::byte>> links;
    for (const Case& each : cases) links.push_back(link_of(each.format));
    std::vector<std::pair<std::size_t, std::size_t>> pairs;
    for (std::size_t k = 0; k < cases.size(); ++k) {
        const Case& each = cases[k];
        const auto ours =
            race.add(each.name, [&each, &links, k] { read(EscapedDeframer(each.format), links[k]); });
        pairs.emplace_back(ours, race.add("  limit: flags, unstuffing, check",
                                          [&each, &links, k] { bare(each.format, links[k]); }));
    }
    race.run(9);
    std::printf("deframers: %u packets of %zu bytes in each framing\n", kFrames, kPacketBytes);
    for (const auto& [ours, limit] : pairs) {
        for (const auto id : {ours, limit})
            std::printf("  %-36s %8.2f million frames/s  (spread %.0f %%)\n", race.name(id).c_str(),
                        kFrames / race.median_s(id) * 1e-6, race.spread_percent(id));
        std::printf("    ratio to the limit: %.2f\n", race.median_s(limit) / race.median_s(ours));
    }
    return sink == 0 ? 1 : 0; // keeps the work from being optimised away
}
