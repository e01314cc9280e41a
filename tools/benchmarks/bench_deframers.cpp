// Bytes -> frames with each framing, beside the least that any reader of it must do on the same bytes: find the
// delimiter or the place, undo stuffing and code, check. The median of several runs each.
#include <cstdio>
#include <cstring>
#include <functional>
#include <string>
#include <vector>

#include "protocol/coding/randomizer.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/space_link/packet_deframer.hpp"
#include "protocol/space_link/tm_deframer.hpp"
#include "protocol/space_link/tm_encoder.hpp"
#include "tools/benchmarks/measure.hpp"

namespace {

using namespace turnstone;
using Bytes = std::vector<std::byte>;

constexpr std::size_t kReadBytes = 4096;
constexpr std::size_t kPacketBytes = 64;

std::uint64_t sink = 0;

/// Space packets of random content, `make(packet)` each.
template <class Make>
void for_packets(unsigned count, Make make) {
    Bytes packet(kPacketBytes);
    std::uint32_t random = 1;
    for (unsigned k = 0; k < count; ++k) {
        for (std::byte& byte : packet) byte = static_cast<std::byte>((random = random * 1664525U + 1013904223U) >> 24U);
        packet[0] = std::byte{0};
        packet[1] = std::byte{5};
        packet[4] = std::byte{0};
        packet[5] = static_cast<std::byte>(kPacketBytes - 7);
        make(packet);
    }
}

template <class Cutter>
void read(Cutter deframer, const Bytes& link) {
    for (std::size_t at = 0; at < link.size(); at += kReadBytes)
        deframer.push(
            std::span(link).subspan(at, std::min(kReadBytes, link.size() - at)),
            [](const Frame& frame) {
                if (frame.verdict == FrameVerdict::good) sink += frame.packet.size();
            });
}

struct Case {
    std::string name, limit;
    unsigned packets;
    Bytes link;
    std::function<void(const Bytes&)> ours, bare;
};

/// Flags, unstuffing and CRC, with nothing kept between reads and nothing judged.
void bare_escaped(const EscapedFormat& format, const Bytes& link) {
    Bytes plain(4 * kPacketBytes);
    const std::optional<Crc> crc = format.crc ? std::optional<Crc>(*format.crc) : std::nullopt;
    const std::byte* at = link.data();
    const std::byte* const end = at + link.size();
    while (at < end) {
        const auto* flag = static_cast<const std::byte*>(
            std::memchr(at, std::to_integer<int>(delimiter_of(format.stuffing)), static_cast<std::size_t>(end - at)));
        const std::span<const std::byte> stuffed(at, static_cast<std::size_t>(flag - at));
        at = flag + 1;
        if (stuffed.empty()) continue;
        const UnstuffResult result = unstuff(format.stuffing, stuffed, plain);
        sink += crc ? crc->of(std::span(plain).first(result.produced)) & 1U : result.produced;
    }
}

Case escaped(const std::string& name, Stuffing stuffing, const char* crc) {
    EscapedFormat format;
    format.stuffing = stuffing;
    if (crc != nullptr) format.crc = crc_kind_from_text(crc);
    Case out{name, "flags, unstuffing, check", 100'000, {}, {}, {}};
    for_packets(
        out.packets,
        [&](const Bytes& packet) {
            const Bytes frame = encode_escaped_frame(format, packet);
            out.link.insert(out.link.end(), frame.begin(), frame.end());
        });
    out.ours = [format](const Bytes& link) { read(EscapedDeframer(format), link); };
    out.bare = [format](const Bytes& link) { bare_escaped(format, link); };
    return out;
}

/// Blocks at their known places: randomizer, codewords, error control.
void bare_blocks(const TmFormat& format, const Bytes& link) {
    const std::optional<ReedSolomon> code =
        format.correctable > 0 ? std::optional<ReedSolomon>(format.correctable) : std::nullopt;
    Bytes block(format.block_bytes()), word(block.size() / format.interleave);
    for (std::size_t at = 0; at + 4 + block.size() <= link.size(); at += 4 + block.size()) {
        std::memcpy(block.data(), link.data() + at + 4, block.size());
        randomize(block);
        for (std::size_t k = 0; code && k < format.interleave; ++k) {
            for (std::size_t i = 0; i < word.size(); ++i) word[i] = block[i * format.interleave + k];
            to_conventional_basis(word);
            sink += code->correct(word).value_or(0);
        }
        if (format.error_control) sink += crc16(std::span(block).first(format.frame_bytes));
    }
}

void bare_symbols(const Bytes& link) {
    ViterbiDecoder decoder;
    decoder.restart();
    const auto soft = [](std::byte symbol) { return std::to_integer<SoftSymbol>(symbol); };
    for (std::size_t k = 0; k + 1 < link.size(); k += 2)
        if (decoder.push(soft(link[k]), soft(link[k + 1]))) sink += decoder.bits();
}

Case telemetry(const std::string& name, const TmFormat& format, unsigned packets) {
    Case out{name, "", packets, {}, {}, {}};
    TmEncoder encoder(format, 7, 0);
    for_packets(packets, [&](const Bytes& packet) { encoder.packet(packet, out.link); });
    encoder.flush(out.link);
    out.ours = [format](const Bytes& link) { read(TmDeframer(format), link); };
    if (format.symbols == ChannelSymbols::soft) {
        out.limit = "Viterbi decoder alone";
        out.bare = bare_symbols;
    } else {
        out.limit = "randomizer and checks alone";
        out.bare = [format](const Bytes& link) { bare_blocks(format, link); };
    }
    return out;
}

Case chained() {
    Case out{"packets one behind the other", "headers and a copy", 100'000, {}, {}, {}};
    for_packets(out.packets,
                [&](const Bytes& packet) { out.link.insert(out.link.end(), packet.begin(), packet.end()); });
    out.ours = [](const Bytes& link) {
        KnownPackets known;
        known.apids.set(5);
        read(PacketDeframer({}, known), link);
    };
    out.bare = [](const Bytes& link) {
        Bytes held(2 * kReadBytes);
        for (std::size_t at = 0, block = 0; at + kPrimaryHeaderBytes < link.size();) {
            if (at >= block) { // what a read brings has to be kept
                const std::size_t size = std::min(kReadBytes, link.size() - block);
                std::memcpy(held.data(), link.data() + block, size);
                block += size;
                sink += std::to_integer<std::uint64_t>(held[size - 1]);
            }
            const auto header = decode_primary_header(std::span(link).subspan(at));
            sink += header->apid;
            at += kPrimaryHeaderBytes + 1 + header->packet_data_length;
        }
    };
    return out;
}

} // namespace

int main() {
    TmFormat plain;
    plain.frame_bytes = 256;
    TmFormat coded;
    coded.correctable = 16;
    coded.interleave = 5;
    coded.frame_bytes = 1115;
    coded.error_control = false;
    TmFormat soft = plain;
    soft.symbols = ChannelSymbols::soft;
    std::vector<Case> cases = {escaped("HDLC-like, FCS-16", Stuffing::hdlc, "CRC-16/IBM-SDLC"),
                               escaped("HDLC-like, FCS-32", Stuffing::hdlc, "CRC-32/ISO-HDLC"),
                               escaped("SLIP", Stuffing::slip, nullptr),
                               escaped("KISS", Stuffing::kiss, nullptr),
                               telemetry("transfer frames, CRC-16", plain, 100'000),
                               telemetry("transfer frames, (255,223) by 5", coded, 100'000),
                               telemetry("transfer frames, soft symbols", soft, 4'000),
                               chained()};
    bench::Race race;
    std::vector<std::pair<std::size_t, std::size_t>> pairs;
    for (const Case& each : cases)
        pairs.emplace_back(race.add(each.name, [&each] { each.ours(each.link); }),
                           race.add("  limit: " + each.limit, [&each] { each.bare(each.link); }));
    race.run(9);
    std::printf("deframers: packets of %zu bytes in each framing\n", kPacketBytes);
    for (std::size_t k = 0; k < cases.size(); ++k) {
        const auto& [ours, limit] = pairs[k];
        for (const auto id : {ours, limit})
            std::printf("  %-38s %8.2f million packets/s, %7.1f MB/s  (spread %.0f %%)\n", race.name(id).c_str(),
                        cases[k].packets / race.median_s(id) * 1e-6,
                        static_cast<double>(cases[k].link.size()) / race.median_s(id) * 1e-6, race.spread_percent(id));
        std::printf("    ratio to the limit: %.2f\n", race.median_s(limit) / race.median_s(ours));
    }
    return sink == 0 ? 1 : 0; // keeps the work from being optimised away
}
