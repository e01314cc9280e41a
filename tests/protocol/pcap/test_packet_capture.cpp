// Recorded packets as tshark 4.0.17 dissects them, by way of tests/reference/captures; formats: libpcap's file format,
// IETF draft "PCAP Next Generation Dump File Format".
#include <catch2/catch.hpp>

#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/pcap/packet_capture.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct Payload {
    std::int64_t t_ns;
    Bytes bytes;
    friend bool operator==(const Payload&, const Payload&) = default;
};

struct ReadCapture {
    std::vector<Payload> payloads;
    PacketCapture::Counts counts;
    std::string at_end;
};

/// In pieces of `piece` bytes; 0: at once.
ReadCapture read(std::span<const std::byte> file, std::optional<std::uint16_t> port = {}, std::size_t piece = 0) {
    PacketCapture capture(port);
    ReadCapture out;
    while (!file.empty()) {
        const Exact part(file.first(piece == 0 ? file.size() : std::min(piece, file.size())));
        capture.push(part.span(), [&](std::int64_t t_ns, std::span<const std::byte> payload) {
            out.payloads.push_back({t_ns, Bytes(payload.begin(), payload.end())});
        });
        file = file.subspan(part.span().size());
    }
    out.counts = capture.counts();
    out.at_end = capture.at_end();
    return out;
}

Bytes reference(const std::string& name) {
    return bytes_of(read_file(source_path("tests/reference/captures/" + name)));
}

void add(Bytes& out, std::uint64_t value, std::size_t bytes, bool little = true) {
    for (std::size_t k = 0; k < bytes; ++k)
        out.push_back(static_cast<std::byte>(value >> 8 * (little ? k : bytes - 1 - k) & 0xFFU));
}

/// A pcapng block, its body padded.
void add_block(Bytes& out, std::uint32_t type, Bytes body, bool little = true) {
    body.resize((body.size() + 3) / 4 * 4);
    add(out, type, 4, little);
    add(out, body.size() + 12, 4, little);
    out.insert(out.end(), body.begin(), body.end());
    add(out, body.size() + 12, 4, little);
}

Bytes section(bool little = true) {
    Bytes body, out;
    add(body, 0x1A2B3C4D, 4, little);
    add(body, 1, 2, little);
    add(body, 0, 2, little);
    add(body, ~std::uint64_t{0}, 8, little);
    add_block(out, 0x0A0D0D0A, body, little);
    return out;
}

/// AX.25, with a time resolution.
void add_interface(Bytes& out, unsigned resolution, std::int64_t offset_s, bool little = true) {
    Bytes body;
    add(body, 3, 2, little);
    add(body, 0, 6, little);
    add(body, 9, 2, little);
    add(body, 1, 2, little);
    add(body, resolution, 1, little);
    add(body, 0, 3, little);
    add(body, 14, 2, little);
    add(body, 8, 2, little);
    add(body, static_cast<std::uint64_t>(offset_s), 8, little);
    add(body, 0, 4, little);
    add_block(out, 1, body, little);
}

void add_packet(Bytes& out, std::uint64_t ticks, const Bytes& packet, bool little = true) {
    Bytes body;
    add(body, 0, 4, little);
    add(body, ticks >> 32U, 4, little);
    add(body, ticks & 0xFFFFFFFFU, 4, little);
    add(body, packet.size(), 4, little);
    add(body, packet.size(), 4, little);
    body.insert(body.end(), packet.begin(), packet.end());
    add_block(out, 6, body, little);
}

} // namespace

TEST_CASE("datagrams come out as another program dissects them, with their times", "[packet_capture]") {
    int checked = 0;
    for (const auto& entry : read_reference("captures/captures.json").at("captures")) {
        const auto name = entry.at("file").get<std::string>();
        INFO(name);
        const Bytes file = reference(name);
        CHECK(PacketCapture::is_one(file));
        for (const std::optional<std::uint16_t> port : {std::optional<std::uint16_t>(), {9001}, {9000}}) {
            std::vector<Payload> expected;
            for (const auto& datagram : entry.at("datagrams")) {
                if (port && datagram.at("port") != *port) continue;
                const auto epoch = datagram.at("t_epoch").get<std::string>(); // seconds.nanoseconds
                const std::size_t point = epoch.find('.');
                expected.push_back(
                    {std::stoll(epoch.substr(0, point)) * 1'000'000'000 + std::stoll(epoch.substr(point + 1)),
                     from_hex(datagram.at("payload_hex").get<std::string>())});
            }
            const ReadCapture seen = read(file, port);
            CHECK(seen.payloads == expected);
            CHECK(seen.counts.packets == entry.at("packets"));
            for (const std::size_t piece : {1u, 7u, 100u}) CHECK(read(file, port, piece).payloads == expected);
        }
        CHECK(read(file).at_end.empty());
        ++checked;
    }
    CHECK(checked == 9);
    const ReadCapture ethernet = read(reference("ethernet.pcap"));
    CHECK(ethernet.counts.fragments == 2);
    CHECK(ethernet.counts.cut == 1);
}

TEST_CASE("AX.25 frames come as over a KISS line", "[packet_capture]") {
    EscapedFormat format;
    format.stuffing = Stuffing::kiss;
    format.ax25 = Ax25Head::removed;
    format.apid = 1;
    for (const char* name : {"ax25.pcap", "ax25_kiss.pcap"}) {
        INFO(name);
        std::vector<Bytes> expected;
        for (const auto& frame : read_reference("ax25.json").at("frames"))
            expected.push_back(from_hex(frame.at("kiss_frame_hex").get<std::string>()));
        std::vector<Bytes> got;
        Bytes link;
        for (const Payload& payload : read(reference(name)).payloads) {
            got.push_back(payload.bytes);
            link.insert(link.end(), payload.bytes.begin(), payload.bytes.end());
        }
        CHECK(got == expected);
        CHECK(cut(EscapedDeframer(format), link).counts.frames_good == expected.size());
    }
}

TEST_CASE("times are read in every resolution, and those that cannot be are none", "[packet_capture]") {
    const Bytes packet = from_hex("AABB");
    for (const bool little : {true, false}) {
        const auto time = [&](unsigned resolution, std::uint64_t ticks, std::int64_t offset_s = 0) {
            Bytes file = section(little);
            add_interface(file, resolution, offset_s, little);
            add_packet(file, ticks, packet, little);
            const ReadCapture seen = read(file);
            REQUIRE(seen.payloads.size() == 1);
            return seen.payloads[0].t_ns;
        };
        CHECK(time(6, 1'780'000'000'123'456) == 1'780'000'000'123'456'000);
        CHECK(time(9, 1'780'000'000'123'456'789) == 1'780'000'000'123'456'789);
        CHECK(time(0, 1'780'000'000) == 1'780'000'000'000'000'000);
        CHECK(time(12, 1'780'000'000'500'000'000) == 1'780'000'000'500'000);
        CHECK(time(0x80 + 10, (1'780'000'000ULL << 10U) + 512) == 1'780'000'000'500'000'000);
        CHECK(time(6, 5'000'000, 1'000) == 1'005'000'000'000);
        CHECK(time(0, 1ULL << 60U) == -1);
        CHECK(time(0x80 + 90, 5) == -1);
        CHECK(time(30, 5) == -1);
        CHECK(time(6, 5'000'000, -10) == -1);
    }
}

TEST_CASE("sections follow each other in either order of octets, and other blocks are passed over",
          "[packet_capture]") {
    Bytes file;
    std::vector<Bytes> expected;
    for (const bool little : {true, false, true}) {
        const Bytes head = section(little);
        file.insert(file.end(), head.begin(), head.end());
        add_interface(file, 6, 0, little);
        add_block(file, 4, from_hex("0102030405"), little); // names
        add_packet(file, 7, from_hex("C0"), little);
        Bytes simple;
        add(simple, 3, 4, little);
        simple.insert(simple.end(), 3, std::byte{0x11});
        add_block(file, 3, simple, little);
        expected.push_back(from_hex("C000DBDCC0"));
        expected.push_back(from_hex("C000111111C0"));
    }
    for (const std::size_t piece : {0u, 1u, 5u}) {
        std::vector<Bytes> got;
        const ReadCapture seen = read(file, {}, piece);
        for (const Payload& payload : seen.payloads) got.push_back(payload.bytes);
        CHECK(got == expected);
        CHECK(seen.payloads[1].t_ns == -1);
        CHECK(seen.at_end.empty());
    }
}

TEST_CASE("a file that cannot be read on says where and why", "[packet_capture]") {
    const Bytes good = reference("ethernet.pcap"), next_generation = reference("ethernet.pcapng");
    const auto says = [](Bytes file) { return read(file).at_end; };
    const auto with = [](Bytes file, std::size_t at, const std::string& hex) {
        const Bytes bytes = from_hex(hex);
        std::copy(bytes.begin(), bytes.end(), file.begin() + static_cast<std::ptrdiff_t>(at));
        return file;
    };
    CHECK(says(from_hex("00112233")) ==
          "the packet capture cannot be read from byte 0 on: it begins neither as pcap nor as pcapng");
    CHECK(says(with(good, 4, "0300")) == "the packet capture cannot be read from byte 0 on: its version is 3, not 2");
    CHECK(says(with(good, 24 + 8, "FFFFFF7F")) ==
          "the packet capture cannot be read from byte 24 on: a packet of 2147483647 bytes");
    CHECK_THAT(says({good.begin(), good.end() - 5}), Catch::Contains("ends within a packet"));
    CHECK_THAT(says(with(next_generation, 4, "0D000000")), Catch::Contains("a block of 13 bytes"));
    CHECK_THAT(says(with(next_generation, 8, "00000000")), Catch::Contains("from byte 0 on"));
    CHECK_THAT(says(with(next_generation, 12, "0200")), Catch::Contains("its version is 2, not 1"));
    Bytes file = section();
    add_packet(file, 0, from_hex("AA")); // without an interface
    CHECK_THAT(says(file), Catch::Contains("an interface or a length that is not there"));
    file = section();
    add_block(file, 6, Bytes(8));
    CHECK_THAT(says(file), Catch::Contains("too short"));
    CHECK(read(good, 77).at_end ==
          "the packet capture has no UDP datagram to port 77 and no AX.25 frame among 12 packets; "
          "2 are fragments");
    CHECK_FALSE(PacketCapture::is_one(from_hex("0A0D0D")));
    CHECK_FALSE(PacketCapture::is_one(from_hex("24475047")));
}
