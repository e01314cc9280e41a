// Link bytes -> channel rows, beside the least that any decoder must do: delimiters, unstuffing and CRC; the CRC alone;
// copying the bytes. All in one process, interleaved, on the same bytes; the median of several runs each.
#include <cstdio>
#include <cstring>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/deframer.hpp"
#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/measure.hpp"

namespace {

using namespace turnstone;

constexpr std::size_t kFrames = 200'000;
constexpr std::size_t kReadBytes = 4096; // what one read of a busy link gives

std::vector<std::byte> make_link_bytes(const Dictionary& dictionary) {
    bench::FrameMaker maker(dictionary, 0);
    std::vector<std::byte> link;
    for (std::size_t k = 0; k < kFrames; ++k)
        maker.append(link, static_cast<std::uint32_t>(20 * k), static_cast<std::uint16_t>(k % 4096));
    return link;
}

} // namespace

int main() {
    const Dictionary dictionary = bench::demo_dictionary();
    const auto link = make_link_bytes(dictionary);
    std::vector<std::byte> target(link.size());
    std::uint64_t rows = 0;
    std::uint64_t sink = 0;

    bench::Race race;
    const auto decode = race.add("deframe + decode to rows", [&] {
        Deframer deframer;
        Decoder decoder(dictionary);
        for (std::size_t at = 0; at < link.size(); at += kReadBytes) {
            deframer.push(std::span(link).subspan(at, std::min(kReadBytes, link.size() - at)), [&](const Frame& frame) {
                if (frame.verdict == FrameVerdict::good)
                    for (const auto& row : decoder.decode(frame.packet).rows) rows += row.numbers.size();
            });
        }
        sink += deframer.counts().frames_good;
    });
    const auto roofline = race.add(
        "limit: delimiter + unstuffing + CRC alone",
        [&] {
            std::byte plain[kFrameBytesMax];
            const std::byte* at = link.data();
            const std::byte* const end = at + link.size();
            while (at < end) {
                const auto* delimiter =
                    static_cast<const std::byte*>(std::memchr(at, 0, static_cast<std::size_t>(end - at)));
                const auto unstuffed = cobs_decode({at, delimiter}, plain);
                sink += crc16({plain, unstuffed.produced}) == 0;
                at = delimiter + 1;
            }
        });
    const auto crc_only = race.add("CRC alone, 64 bytes at a time", [&] {
        for (std::size_t k = 0; k < kFrames; ++k) {
            sink += crc16({link.data() + k * (link.size() / kFrames), link.size() / kFrames});
        }
    });
    const auto copy = race.add("memcpy", [&] {
        std::memcpy(target.data(), link.data(), link.size());
        sink += std::to_integer<std::uint64_t>(target[link.size() / 2]);
    });
    race.run(9);

    std::printf("decode: %zu frames, %.1f bytes each, %zu channel values a frame\n", kFrames,
                static_cast<double>(link.size()) / kFrames, static_cast<std::size_t>(rows / (9 * kFrames)));
    for (const auto id : {decode, roofline, crc_only, copy}) {
        std::printf("  %-44s %8.2f million frames/s  (spread %.0f %%)\n", race.name(id).c_str(),
                    kFrames / race.median_s(id) * 1e-6, race.spread_percent(id));
    }
    std::printf("  ratio to the limit: %.2f\n", race.median_s(roofline) / race.median_s(decode));
    return sink == 0 ? 1 : 0; // keeps the work from being optimised away
}
