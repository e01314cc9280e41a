// Telemetry streams of protocol/TM.md. Outside values: a channel access data unit whose parts come from libfec0 and the
// published randomizer sequence, by way of tests/reference/ccsds.json.
#include <catch2/catch.hpp>

#include "protocol/space_link/tm_deframer.hpp"
#include "protocol/space_link/tm_encoder.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

TmFormat uncoded(std::size_t frame_bytes = 100) {
    TmFormat format;
    format.frame_bytes = frame_bytes;
    return format;
}

TmFormat coded(unsigned correctable, unsigned interleave, std::size_t fill = 0) {
    TmFormat format;
    format.correctable = correctable;
    format.interleave = interleave;
    format.frame_bytes = interleave * (255 - 2 * correctable - fill);
    format.error_control = false;
    return format;
}

std::vector<TmFormat> formats() {
    std::vector<TmFormat> all = {uncoded(),         coded(16, 1), coded(8, 3, 100),
                                 coded(16, 5, 180), uncoded(60),  uncoded(60)};
    all[1].dual_basis = false;
    all[2].error_control = true;
    all[3].symbols = ChannelSymbols::soft;
    all[4].symbols = ChannelSymbols::hard;
    all[5].randomized = false;
    return all;
}

std::vector<Bytes> some_packets(unsigned count, std::size_t user_bytes = 37) {
    std::vector<Bytes> out;
    std::mt19937 random(count);
    for (unsigned k = 0; k < count; ++k)
        out.push_back(packet_of(5, k, k, random_bytes(random, 1 + (k * 13) % user_bytes, 20)));
    return out;
}

Bytes link_of(const TmFormat& format, const std::vector<Bytes>& packets, unsigned idle_frames = 1) {
    TmEncoder encoder(format, 171, 3);
    Bytes link;
    for (const Bytes& packet : packets) encoder.packet(packet, link);
    encoder.flush(link);
    for (unsigned k = 0; k < idle_frames; ++k) encoder.idle(link); // the convolutional decoder is some bits behind
    return link;
}

/// Good frames' packets, idle ones and frames without one left out.
std::vector<Bytes> packets_of(const Cut& seen) {
    std::vector<Bytes> out;
    for (const CutFrame& frame : seen.frames)
        if (frame.verdict == FrameVerdict::good && !frame.packet.empty() && frame.packet[1] != std::byte{0xFF})
            out.push_back(frame.packet);
    return out;
}

/// The stream some bits later, with `head` in front.
Bytes later(const Bytes& stream, unsigned bits, bool inverted = false) {
    Bytes out(stream.size() + 1);
    put_bits(out, 0, bits, 0x2A);
    for (std::size_t k = 0; k < stream.size(); ++k)
        put_bits(out, 8 * k + bits, 8, std::to_integer<unsigned>(stream[k]) ^ (inverted ? 0xFFU : 0U));
    return out;
}

/// Without the bits [from, from + count).
Bytes without_bits(const Bytes& stream, std::size_t from, std::size_t count) {
    Bytes out;
    std::size_t to = 0;
    for (std::size_t bit = 0; bit < 8 * stream.size(); ++bit) {
        if (bit >= from && bit < from + count) continue;
        put_bits(out, to++, 1, std::to_integer<unsigned>(stream[bit / 8]) >> (7 - bit % 8) & 1U);
    }
    return out;
}

CodeFigures figures_of(const TmFormat& format, const Bytes& link) {
    TmDeframer deframer(format);
    deframer.push(link, [](const Frame&) {});
    return deframer.figures();
}

} // namespace

TEST_CASE("a unit of the reference is read", "[tm_deframer]") {
    const nlohmann::json& reference = read_reference("ccsds.json");
    TmFormat format = coded(16, 1);
    Bytes link = from_hex(reference.at("cadu").at("cadu_hex").get<std::string>());
    const Cut seen = cut(TmDeframer(format), link);
    REQUIRE(seen.frames.size() == 1);
    CHECK(seen.frames[0].verdict == FrameVerdict::good);
    CHECK(seen.counts.bytes_framed == 259);
    CHECK(figures_of(format, link).symbols_corrected == 0);
    for (std::size_t k = 0; k < 16; ++k) link[4 + 15 * k] ^= std::byte{0x81};
    CHECK(cut(TmDeframer(format), link).counts.bytes_framed == 259);
    CHECK(figures_of(format, link).symbols_corrected == 16);
    CHECK(figures_of(format, link).worst_corrected == 16);
    link[100] ^= std::byte{0x80};
    CHECK(cut(TmDeframer(format), link).counts.frames_good == 0);
}

TEST_CASE("packets come out as they went in, with every code, and every octet is accounted for", "[tm_deframer]") {
    const auto sent = some_packets(120);
    for (const TmFormat& format : formats()) {
        INFO(format.frame_bytes << " octets, symbols " << word(format.symbols));
        const Bytes link = link_of(format, sent);
        const Cut seen = cut(TmDeframer(format), link);
        CHECK(packets_of(seen) == sent);
        CHECK(seen.counts.bytes_dropped == 0);
        std::uint64_t bytes = 0;
        for (const CutFrame& frame : seen.frames) {
            CHECK(frame.stream_offset == bytes);
            bytes += frame.link_bytes;
        }
        CHECK(bytes == seen.counts.bytes_framed);
        const CodeFigures figures = figures_of(format, link);
        CHECK(figures.frames_lost == 0);
        CHECK(figures.channel_errors == 0);
        CHECK(figures.channel_symbols ==
              (format.symbols == ChannelSymbols::bits ? 0u : 2 * format.period_bits() * figures.frames));
    }
}

TEST_CASE("the marker is found at any bit, and of either polarity", "[tm_deframer]") {
    const auto sent = some_packets(20);
    for (const bool inverted : {false, true})
        for (unsigned bits = 0; bits < 8; ++bits) {
            const Bytes link = later(link_of(uncoded(), sent), bits, inverted);
            const Cut seen = cut(TmDeframer(uncoded()), link);
            CHECK(packets_of(seen) == sent);
            CHECK(figures_of(uncoded(), link).is_inverted == inverted);
            check_splits(TmDeframer(uncoded()), link);
        }
}

TEST_CASE("a bit slip costs the frame that it is in and no other", "[tm_deframer]") {
    const TmFormat format = uncoded();
    const auto sent = some_packets(60);
    const Bytes link = link_of(format, sent);
    const std::size_t period = format.period_bits();
    REQUIRE(link.size() * 8 > 8 * period);
    for (const std::size_t count : {1u, 3u}) {
        const Bytes slipped = without_bits(link, 3 * period + 400, count);
        const Cut seen = cut(TmDeframer(format), slipped);
        CHECK(seen.counts.frames_good == link.size() * 8 / period - 1);
        CHECK(figures_of(format, slipped).bit_slips == 1);
        CHECK(figures_of(format, slipped).frames_lost == 1);
        check_splits(TmDeframer(format), slipped);
        // Bits too many, right before a marker: no frame is lost.
        Bytes longer = without_bits(link, 0, 3 * period); // from the fourth frame on
        Bytes head(link.begin(), link.begin() + static_cast<std::ptrdiff_t>(3 * period / 8));
        for (std::size_t k = 0; k < count; ++k) put_bits(head, 3 * period + k, 1, 1);
        Bytes joined = head;
        for (std::size_t bit = 0; bit < 8 * longer.size(); ++bit)
            put_bits(joined, 3 * period + count + bit, 1,
                     std::to_integer<unsigned>(longer[bit / 8]) >> (7 - bit % 8) & 1U);
        CHECK(cut(TmDeframer(format), joined).counts.frames_good == link.size() * 8 / period);
        CHECK(figures_of(format, joined).bit_slips == 1);
    }
}

TEST_CASE("a bit lost at the end of a coded block is corrected, and the next block found", "[tm_deframer]") {
    const TmFormat format = coded(16, 1);
    const Bytes link = link_of(format, some_packets(80));
    const Bytes slipped = without_bits(link, 2 * format.period_bits() - 50, 1); // in the last seven symbols
    const Cut seen = cut(TmDeframer(format), slipped);
    CHECK(seen.counts.frames_good == link.size() * 8 / format.period_bits());
    CHECK(figures_of(format, slipped).frames_lost == 0);
    CHECK(figures_of(format, slipped).bit_slips == 1);
    check_splits(TmDeframer(format), slipped);
}

TEST_CASE("behind a good frame a marker may have ten wrong bits, in a search three", "[tm_deframer]") {
    const TmFormat format = uncoded();
    const Bytes link = link_of(format, some_packets(20));
    const auto frames = [&](std::size_t period, std::uint32_t wrong) {
        Bytes damaged = link;
        for (unsigned k = 0; k < 4; ++k)
            damaged[period * format.period_bits() / 8 + k] ^= static_cast<std::byte>(wrong >> 8 * (3 - k) & 0xFFU);
        return cut(TmDeframer(format), damaged).counts.frames_good;
    };
    const std::uint64_t all = link.size() * 8 / format.period_bits();
    CHECK(frames(0, 0x80010001) == all);
    CHECK(frames(0, 0x80010011) == all - 1);
    CHECK(frames(1, 0x83C18181) == all);
    CHECK(frames(1, 0x83C38181) == all - 1);
}

TEST_CASE("frames that cannot be read say why, and the next is found", "[tm_deframer]") {
    const TmFormat crc = uncoded();
    Bytes link = link_of(crc, some_packets(20));
    link[2 * crc.period_bits() / 8 + 30] ^= std::byte{1};
    Cut seen = cut(TmDeframer(crc), link);
    CHECK(seen.count(FrameVerdict::bad_crc) == 1);
    CHECK(seen.bytes(FrameVerdict::bad_crc) == crc.period_bits() / 8);
    const TmFormat code = coded(8, 2);
    link = link_of(code, some_packets(60));
    for (std::size_t k = 0; k < 40; ++k) link[code.period_bits() / 8 + 20 + k] ^= std::byte{0x55};
    seen = cut(TmDeframer(code), link);
    CHECK(seen.count(FrameVerdict::uncorrectable) == 1);
    CHECK(seen.bytes(FrameVerdict::uncorrectable) == code.period_bits() / 8);
    CHECK(figures_of(code, link).frames_lost == 1);
    check_splits(TmDeframer(code), link);
}

TEST_CASE("pairs of symbols are found whichever symbol comes first, with noise", "[tm_deframer]") {
    std::mt19937 random(6);
    const auto sent = some_packets(150);
    for (const ChannelSymbols symbols : {ChannelSymbols::hard, ChannelSymbols::soft}) {
        TmFormat format = uncoded(60);
        format.symbols = symbols;
        Bytes link = link_of(format, sent);
        if (symbols == ChannelSymbols::hard) {
            link = later(link, 1);
            for (std::size_t k = 0; k < link.size(); k += 17) link[k] ^= static_cast<std::byte>(1U << random() % 8);
        } else {
            link.insert(link.begin(), std::byte{200});
            for (std::byte& symbol : link)
                if (random() % 40 == 0)
                    symbol = std::byte{128}; // unknown
                else if (random() % 40 == 0)
                    symbol = ~symbol;
        }
        const Cut seen = cut(TmDeframer(format), link);
        const std::uint64_t all = 1 + (link.size() - 1) * (symbols == ChannelSymbols::hard ? 4 : 1) /
                                          (symbols == ChannelSymbols::hard ? 1 : 2) / format.period_bits();
        CHECK(seen.counts.frames_good + 7 >= all); // two periods to find that the pairs are wrong, and where it began
        const CodeFigures figures = figures_of(format, link);
        const double errors =
            static_cast<double>(figures.channel_errors) / static_cast<double>(figures.channel_symbols);
        CHECK(errors == Approx(symbols == ChannelSymbols::hard ? 1.0 / (17 * 8) : 1.5 / 40).margin(0.006));
        check_splits(TmDeframer(format), link);
    }
}

TEST_CASE("any split of damaged streams gives the same frames and the same account", "[tm_deframer]") {
    std::mt19937 random(21);
    for (TmFormat format : formats()) {
        Bytes link = link_of(format, some_packets(120));
        for (std::size_t k = 0; k < link.size() / 90; ++k)
            link[random() % link.size()] ^= static_cast<std::byte>(random() % 256);
        link = without_bits(link, 8 * (link.size() / 3), 3);
        const Bytes noise = random_bytes(random, 500, 10);
        link.insert(link.begin() + static_cast<std::ptrdiff_t>(link.size() / 2), noise.begin(), noise.end());
        check_splits(TmDeframer(format), link);
        CHECK(cut(TmDeframer(format), link).counts.frames_good > 3);
        if (format.correctable == 0) continue;
        format.error_control = false; // the code alone
        check_splits(TmDeframer(format), link);
    }
}

TEST_CASE("noise is bounded and reported in pieces, whatever the symbols", "[tm_deframer]") {
    std::mt19937 random(2);
    for (const ChannelSymbols symbols : {ChannelSymbols::bits, ChannelSymbols::hard, ChannelSymbols::soft}) {
        TmFormat format = uncoded();
        format.symbols = symbols;
        const Bytes noise = random_bytes(random, 2 * kTooLongBytesMax + 4000, 1);
        const Cut seen = cut(TmDeframer(format), noise, {4096, 1});
        CHECK(seen.counts.frames_good == 0);
        CHECK(seen.frames.size() >= 2);
        for (const CutFrame& frame : seen.frames) CHECK(frame.link_bytes <= kTooLongBytesMax + 1);
        CHECK(seen.pending.size() <= 2 * (format.period_bits() + 200));
    }
}
