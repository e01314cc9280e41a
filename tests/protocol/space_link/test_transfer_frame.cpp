// Transfer frames of CCSDS 132.0-B-3. Outside values: headers by their layout and a frame's error control field by
// python3-crccheck, by way of tests/reference/ccsds.json.
#include <catch2/catch.hpp>

#include <random>

#include "protocol/framing/crc16.hpp"
#include "protocol/space_link/tm_encoder.hpp"
#include "protocol/space_link/transfer_frame.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

TmFormat format_of(std::size_t frame_bytes) {
    TmFormat format;
    format.frame_bytes = frame_bytes;
    return format;
}

std::vector<Bytes> take(PacketAssembly& assembly, const Bytes& frame) {
    std::vector<Bytes> out;
    for (const auto packet : assembly.take(frame)) out.emplace_back(packet.begin(), packet.end());
    return out;
}

} // namespace

TEST_CASE("transfer frame headers are read and written", "[space_link]") {
    int checked = 0;
    for (const auto& entry : read_reference("ccsds.json").at("tm_frame_headers")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes bytes = from_hex(entry.at("header_hex").get<std::string>());
        const TransferHeader header = decode_transfer_header(bytes);
        CHECK(header.version == entry.at("version"));
        CHECK(header.spacecraft == entry.at("scid"));
        CHECK(header.virtual_channel == entry.at("vcid"));
        CHECK(header.has_control_field == (entry.at("ocf_flag") == 1));
        CHECK(header.master_count == entry.at("mc_count"));
        CHECK(header.channel_count == entry.at("vc_count"));
        CHECK(header.has_secondary_header == (entry.at("sec_hdr_flag") == 1));
        CHECK(header.is_synchronous == (entry.at("sync_flag") == 1));
        CHECK(header.first_header == entry.at("first_header_pointer"));
        const auto written = encode_transfer_header(header);
        CHECK(std::equal(written.begin(), written.end(), bytes.begin(), bytes.end()));
        ++checked;
    }
    CHECK(checked == 4);
    const Bytes frame = from_hex(read_reference("ccsds.json").at("tm_frame").at("frame_hex").get<std::string>());
    CHECK(crc16(frame) == 0);
    PacketAssembly assembly(format_of(frame.size()), 100);
    CHECK(take(assembly, frame).size() == 1); // first header pointer 0, one packet of 16
}

// The widths of the fields one behind the other, from memory of CCSDS 132.0-B-3, figure 4-2: no dissector of transfer
// frames is among Debian's packages.
TEST_CASE("any transfer frame header is its fields one behind the other", "[space_link]") {
    std::mt19937 random(132);
    for (int k = 0; k < 5000; ++k) {
        const auto some = [&](unsigned bits) { return static_cast<unsigned>(random() & ((1U << bits) - 1)); };
        TransferHeader header;
        header.version = static_cast<std::uint8_t>(some(2));
        header.spacecraft = static_cast<std::uint16_t>(some(10));
        header.virtual_channel = static_cast<std::uint8_t>(some(3));
        header.has_control_field = some(1) != 0;
        header.master_count = static_cast<std::uint8_t>(some(8));
        header.channel_count = static_cast<std::uint8_t>(some(8));
        header.has_secondary_header = some(1) != 0;
        header.is_synchronous = some(1) != 0;
        header.order_and_segment = static_cast<std::uint8_t>(some(3));
        header.first_header = static_cast<std::uint16_t>(some(11));
        Bytes bytes(kTransferHeaderBytes);
        std::size_t at = 0;
        const auto put = [&](unsigned bits, unsigned value) {
            put_bits(bytes, at, bits, value);
            at += bits;
        };
        put(2, header.version);
        put(10, header.spacecraft);
        put(3, header.virtual_channel);
        put(1, header.has_control_field);
        put(8, header.master_count);
        put(8, header.channel_count);
        put(1, header.has_secondary_header);
        put(1, header.is_synchronous);
        put(1, header.order_and_segment >> 2U); // packet order flag
        put(2, header.order_and_segment & 3U);  // segment length identifier
        put(11, header.first_header);
        REQUIRE(at == 8 * kTransferHeaderBytes);
        REQUIRE(decode_transfer_header(bytes) == header);
        const auto written = encode_transfer_header(header);
        REQUIRE(std::equal(written.begin(), written.end(), bytes.begin(), bytes.end()));
    }
}

TEST_CASE("packets go on across frames, also when their header does", "[space_link]") {
    for (const std::size_t frame_bytes : {20u, 33u, 64u, 300u})
        for (std::size_t size = 1; size < 70; ++size) {
            TmEncoder encoder(format_of(frame_bytes), 7, 2, size % 2 == 0 ? std::optional(0x01020304u) : std::nullopt);
            PacketAssembly assembly(format_of(frame_bytes), 200);
            std::vector<Bytes> sent, got;
            Bytes link;
            for (unsigned k = 0; k < 12; ++k) {
                sent.push_back(packet_of(5, k, k, Bytes(size, static_cast<std::byte>(k))));
                encoder.packet(sent.back(), link);
            }
            encoder.flush(link);
            // Without code, behind each marker; randomized.
            REQUIRE(link.size() % (frame_bytes + 4) == 0);
            for (std::size_t at = 0; at < link.size(); at += frame_bytes + 4) {
                Bytes frame(link.begin() + static_cast<std::ptrdiff_t>(at + 4),
                            link.begin() + static_cast<std::ptrdiff_t>(at + 4 + frame_bytes));
                const Bytes published = from_hex(
                    read_reference("ccsds.json").at("randomizer").at("first_255_octets_hex").get<std::string>());
                for (std::size_t i = 0; i < frame.size(); ++i) frame[i] ^= published[i % 255];
                for (Bytes& packet : take(assembly, frame))
                    if (packet[1] != std::byte{0xFF}) got.push_back(std::move(packet)); // idle: APID 2047
            }
            CHECK(got == sent);
            CHECK(assembly.counts().frames_lost == 0);
            CHECK(assembly.counts().packets_cut == 0);
            CHECK(assembly.counts().malformed == 0);
            if (size % 2 == 0) CHECK(assembly.counts().control_field == 0x01020304u);
        }
}

TEST_CASE("a lost frame costs the packets that were in it and no others", "[space_link]") {
    const TmFormat format = format_of(40);
    for (std::size_t lost = 0; lost < 10; ++lost) {
        TmEncoder encoder(format, 7, 0);
        std::vector<Bytes> frames, sent;
        Bytes all;
        for (unsigned k = 0; k < 30; ++k) {
            sent.push_back(packet_of(5, k, k, Bytes(7, static_cast<std::byte>(k))));
            all.insert(all.end(), sent.back().begin(), sent.back().end());
        }
        const std::size_t size = encoder.data_bytes(), packet_size = sent[0].size();
        for (std::size_t at = 0; at + size <= all.size(); at += size) {
            const std::size_t header = (packet_size - at % packet_size) % packet_size;
            frames.push_back(
                encoder.transfer_frame(std::span(all).subspan(at, size), static_cast<std::uint16_t>(header)));
        }
        PacketAssembly assembly(format, 100);
        std::vector<Bytes> got;
        for (std::size_t k = 0; k < frames.size(); ++k) {
            if (k == lost) continue;
            for (Bytes& packet : take(assembly, frames[k])) got.push_back(std::move(packet));
        }
        // By where they lie: whole packets of the stream without any byte in the lost frame.
        std::vector<Bytes> expected;
        for (std::size_t k = 0; k < sent.size(); ++k) {
            const std::size_t from = k * packet_size, to = from + packet_size;
            const bool hit = from < (lost + 1) * size && to > lost * size;
            if (!hit && to <= frames.size() * size) expected.push_back(sent[k]);
        }
        CHECK(got == expected);
        CHECK(assembly.counts().frames_lost == (lost == 0 || lost + 1 == frames.size() ? 0u : 1u));
    }
}

TEST_CASE("virtual channels are put together apart, and one can be chosen", "[space_link]") {
    TmFormat format = format_of(32);
    TmEncoder a(format, 7, 1), b(format, 7, 6);
    const Bytes long_a = packet_of(5, 1, 1, Bytes(40, std::byte{0xAA})),
                long_b = packet_of(6, 1, 1, Bytes(40, std::byte{0xBB}));
    const std::size_t size = a.data_bytes();
    const auto frames_of = [&](TmEncoder& encoder, const Bytes& packet) {
        Bytes data = packet;
        data.resize(3 * size, std::byte{0});
        return std::vector<Bytes>{encoder.transfer_frame(std::span(data).first(size), 0),
                                  encoder.transfer_frame(std::span(data).subspan(size, size), kNoPacketStarts)};
    };
    const auto frames_a = frames_of(a, long_a), frames_b = frames_of(b, long_b);
    REQUIRE(long_a.size() > 2 * size);
    const Bytes last_a =
        a.transfer_frame(Bytes(long_a.begin() + static_cast<std::ptrdiff_t>(2 * size), long_a.end()), kNoPacketStarts);
    Bytes tail(long_b.begin() + static_cast<std::ptrdiff_t>(2 * size), long_b.end());
    const auto rest = static_cast<std::uint16_t>(tail.size());
    tail.resize(size, std::byte{0xE0}); // no space packet behind it
    const Bytes last_b = b.transfer_frame(tail, rest);
    for (const std::optional<unsigned> chosen : {std::optional<unsigned>(), std::optional<unsigned>(6)}) {
        format.virtual_channel = chosen;
        PacketAssembly assembly(format, 200);
        for (int k = 0; k < 2; ++k) {
            CHECK(take(assembly, frames_a[static_cast<std::size_t>(k)]).empty());
            CHECK(take(assembly, frames_b[static_cast<std::size_t>(k)]).empty());
        }
        CHECK(take(assembly, last_b) == std::vector<Bytes>{long_b});
        CHECK(assembly.counts().malformed == 1);
        CHECK(assembly.counts().frames_lost == 0);
        CHECK(take(assembly, last_a) == (chosen ? std::vector<Bytes>{} : std::vector<Bytes>{long_a}));
    }
}

TEST_CASE("frames of idle data, of other data and with headers that cannot be give no packet", "[space_link]") {
    const TmFormat format = format_of(32);
    TmEncoder encoder(format, 7, 1);
    PacketAssembly assembly(format, 200);
    CHECK(take(assembly, encoder.transfer_frame(Bytes(encoder.data_bytes()), kOnlyIdleData)).empty());
    CHECK(assembly.counts().malformed == 0);
    CHECK(take(assembly, encoder.transfer_frame(Bytes(encoder.data_bytes()), 1000)).empty());
    CHECK(assembly.counts().malformed == 1);
    Bytes synchronous = encoder.transfer_frame(Bytes(encoder.data_bytes()), 0);
    synchronous[4] |= std::byte{0x40};
    CHECK(take(assembly, synchronous).empty());
    Bytes secondary = encoder.transfer_frame(Bytes(encoder.data_bytes(), std::byte{0x3F}), 0); // 64 octets in 32
    secondary[4] |= std::byte{0x80};
    CHECK(take(assembly, secondary).empty());
    CHECK(assembly.counts().malformed == 2);
    // A secondary header of four octets before a packet.
    Bytes data = from_hex("03A1A2A3");
    const Bytes packet = packet_of(5, 1, 1, Bytes(encoder.data_bytes() - 4 - 10));
    data.insert(data.end(), packet.begin(), packet.end());
    Bytes with_header = encoder.transfer_frame(data, 0);
    with_header[4] |= std::byte{0x80};
    CHECK(take(assembly, with_header) == std::vector<Bytes>{packet});
}
