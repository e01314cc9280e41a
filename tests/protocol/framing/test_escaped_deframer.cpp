// The rules checked here are those of protocol/STUFFING.md. Outside values: RFC 1662 (escapes, frames, good final FCS),
// RFC 1055 and the KISS specification by way of tests/reference/cobs.json; AX.25 v2.2 frames, dissected with tshark
// 4.0.17, by way of tests/reference/ax25.json.
#include <catch2/catch.hpp>

#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Bytes hex_of(const nlohmann::json& entry, const char* key) {
    return from_hex(entry.at(key).get<std::string>());
}

EscapedFormat format_of(Stuffing stuffing, const char* crc = nullptr) {
    EscapedFormat format;
    format.stuffing = stuffing;
    if (crc != nullptr) format.crc = crc_kind_from_text(crc);
    return format;
}

constexpr const char* kFcs16 = "CRC-16/IBM-SDLC";
constexpr const char* kFcs32 = "CRC-32/ISO-HDLC";

/// What the payload of each good frame was, with the content of frames as packets of APID 1.
std::vector<Bytes> contents(EscapedFormat format, const Bytes& stream) {
    format.apid = 1;
    std::vector<Bytes> out;
    for (const CutFrame& frame : cut(EscapedDeframer(format), stream).frames)
        if (frame.verdict == FrameVerdict::good)
            out.emplace_back(frame.packet.begin() + kPrimaryHeaderBytes, frame.packet.end());
    return out;
}

std::vector<EscapedFormat> all_formats() {
    std::vector<EscapedFormat> all = {format_of(Stuffing::hdlc, kFcs16), format_of(Stuffing::hdlc, kFcs32),
                                      format_of(Stuffing::slip), format_of(Stuffing::slip, "CRC-16/ARC"),
                                      format_of(Stuffing::kiss)};
    all[1].skipped_bytes = 4;
    return all;
}

} // namespace

TEST_CASE("frames of RFC 1662 are read, and written with its control character map", "[escaped_deframer]") {
    const nlohmann::json& reference = read_reference("cobs.json");
    int checked = 0;
    for (const auto& entry : reference.at("hdlc_frames")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes data = hex_of(entry, "data_hex"), frame = hex_of(entry, "frame_hex");
        const EscapedFormat format = format_of(Stuffing::hdlc, kFcs16);
        CHECK(contents(format, frame) == std::vector<Bytes>{data});
        const auto map = static_cast<std::uint32_t>(std::stoul(entry.at("accm").get<std::string>(), nullptr, 16));
        CHECK(encode_escaped_frame(format, data, map) == frame);
        ++checked;
    }
    CHECK(checked == 5);
    for (const auto& entry : reference.at("hdlc_published_escapes")) {
        Bytes plain(8);
        const UnstuffResult result = unstuff(Stuffing::hdlc, hex_of(entry, "encoded_hex"), plain);
        plain.resize(result.produced);
        CHECK(result.complete);
        CHECK(plain == hex_of(entry, "octet"));
    }
}

TEST_CASE("the register over a good frame and its check is the one RFC 1662 gives", "[escaped_deframer]") {
    // RFC 1662, C.2 and C.3: good final FCS f0b8 and debb20e3, both before the complement.
    std::mt19937 random(1);
    for (const auto& [name, good] : {std::pair(kFcs16, 0xF0B8u), std::pair(kFcs32, 0xDEBB20E3u)}) {
        const CrcKind kind = *crc_kind_from_text(name);
        const Crc crc(kind);
        Bytes bytes = random_bytes(random, 300, 10);
        const std::uint32_t check = crc.of(bytes);
        for (std::size_t k = 0; k < kind.bytes(); ++k) bytes.push_back(static_cast<std::byte>(check >> 8 * k & 0xFFU));
        CHECK((crc.of(bytes) ^ kind.final_xor) == good);
    }
}

TEST_CASE("frames of RFC 1055 are read, with and without an END in front", "[escaped_deframer]") {
    int checked = 0;
    for (const auto& entry : read_reference("cobs.json").at("slip")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes payload = hex_of(entry, "payload_hex");
        const EscapedFormat format = format_of(Stuffing::slip);
        CHECK(contents(format, hex_of(entry, "encoded_hex")) == std::vector<Bytes>{payload});
        CHECK(contents(format, hex_of(entry, "encoded_with_leading_end_hex")) == std::vector<Bytes>{payload});
        CHECK(encode_escaped_frame(format, payload) == hex_of(entry, "encoded_with_leading_end_hex"));
        ++checked;
    }
    CHECK(checked == 8);
}

TEST_CASE("KISS frames of data are read by their port, and other commands are told apart", "[escaped_deframer]") {
    int data_frames = 0;
    for (const auto& entry : read_reference("cobs.json").at("kiss")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes payload = hex_of(entry, "payload_hex"), frame = hex_of(entry, "frame_hex");
        EscapedFormat format = format_of(Stuffing::kiss);
        if (entry.at("command") != 0) {
            CHECK(cut(EscapedDeframer(format), frame).count(FrameVerdict::not_data) == 1);
            continue;
        }
        CHECK(contents(format, frame) == std::vector<Bytes>{payload});
        format.port = entry.at("port").get<unsigned>();
        CHECK(contents(format, frame) == std::vector<Bytes>{payload});
        CHECK(encode_escaped_frame(format, payload) == frame);
        format.port = (*format.port + 1) % 16;
        CHECK(cut(EscapedDeframer(format), frame).count(FrameVerdict::not_data) == 1);
        ++data_frames;
    }
    CHECK(data_frames == 4);
}

TEST_CASE("of AX.25 frames the information of UI frames is read, whatever path they took", "[escaped_deframer]") {
    EscapedFormat format = format_of(Stuffing::kiss);
    format.ax25 = Ax25Head::removed;
    int checked = 0;
    for (const auto& entry : read_reference("ax25.json").at("frames")) {
        INFO(entry.at("id").get<std::string>());
        CHECK(contents(format, hex_of(entry, "kiss_frame_hex")) == std::vector<Bytes>{hex_of(entry, "info_hex")});
        ++checked;
        // Cut anywhere in its head it is too short, with another control field it is another kind of frame.
        Bytes frame = hex_of(entry, "frame_hex");
        const std::size_t head = frame.size() - hex_of(entry, "info_hex").size();
        const auto verdict = [&](const Bytes& content) {
            const Cut seen = cut(EscapedDeframer(format), encode_escaped_frame(format_of(Stuffing::kiss), content));
            REQUIRE(seen.frames.size() == 1);
            return seen.frames[0].verdict;
        };
        for (std::size_t size = 0; size < head; ++size)
            CHECK(verdict({frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size)}) ==
                  FrameVerdict::bad_length);
        frame[head - 2] = std::byte{0x3F}; // SABM
        CHECK(verdict(frame) == FrameVerdict::not_data);
    }
    CHECK(checked == 8);
    // The check of the standard's own frames is the FCS-16 of RFC 1662.
    const auto& first = read_reference("ax25.json").at("frames")[0];
    Bytes with_check = hex_of(first, "frame_hex");
    for (const std::byte byte : hex_of(first, "fcs_octets_low_first_hex")) with_check.push_back(byte);
    Bytes framed{std::byte{0x7E}};
    stuff(Stuffing::hdlc, with_check, framed);
    framed.push_back(std::byte{0x7E});
    EscapedFormat hdlc = format_of(Stuffing::hdlc, kFcs16);
    hdlc.ax25 = Ax25Head::removed;
    CHECK(contents(hdlc, framed) == std::vector<Bytes>{hex_of(first, "info_hex")});
}

TEST_CASE("without an APID a frame holds a space packet, of the length that it says", "[escaped_deframer]") {
    for (const EscapedFormat& format : all_formats()) {
        const Bytes packet = packet_of(20, 7, 1000, from_hex("7E7DC0DB00FF1113"));
        const Cut seen = cut(EscapedDeframer(format), encode_escaped_frame(format, packet));
        REQUIRE(seen.frames.size() == 1);
        CHECK(seen.frames[0].verdict == FrameVerdict::good);
        CHECK(seen.frames[0].packet == packet);
        CHECK(seen.counts.bytes_dropped == 0);
        Bytes longer = packet;
        longer.push_back(std::byte{0});
        CHECK(cut(EscapedDeframer(format), encode_escaped_frame(format, longer)).count(FrameVerdict::bad_length) == 1);
    }
}

TEST_CASE("flags between frames belong to them, one before and one behind, and others are dropped",
          "[escaped_deframer]") {
    const EscapedFormat format = format_of(Stuffing::hdlc, kFcs16);
    const Bytes frame = encode_escaped_frame(format, packet_of(1, 1, 1, from_hex("01")));
    Bytes shared(frame.begin(), frame.end());
    shared.insert(shared.end(), frame.begin() + 1, frame.end()); // one flag between two frames
    shared.insert(shared.end(), 5, std::byte{0x7E});
    shared.insert(shared.end(), frame.begin(), frame.end());
    const Cut seen = cut(EscapedDeframer(format), shared);
    REQUIRE(seen.frames.size() == 3);
    CHECK(seen.counts.frames_good == 3);
    CHECK(seen.frames[1].stream_offset == frame.size());
    CHECK(seen.frames[1].link_bytes == frame.size() - 1);
    CHECK(seen.frames[2].stream_offset == 2 * frame.size() - 1 + 5);
    CHECK(seen.counts.bytes_dropped == 5);
    check_splits(EscapedDeframer(format), shared);
}

TEST_CASE("damage has its own verdict", "[escaped_deframer]") {
    const auto verdict = [](const EscapedFormat& format, const std::string& hex) {
        const Cut seen = cut(EscapedDeframer(format), from_hex(hex));
        REQUIRE(seen.frames.size() == 1);
        return seen.frames[0].verdict;
    };
    const EscapedFormat hdlc = format_of(Stuffing::hdlc, kFcs16);
    CHECK(verdict(hdlc, "7E0102037D7E") == FrameVerdict::bad_escape); // RFC 1662, 4.3: aborted
    CHECK(verdict(hdlc, "7E017E") == FrameVerdict::bad_length);
    CHECK(verdict(hdlc, "7E3132333435363738396E917E") == FrameVerdict::bad_crc);
    CHECK(verdict(hdlc, "7E3132333435363738396E907E") == FrameVerdict::bad_length); // no space packet
    CHECK(verdict(format_of(Stuffing::slip), "C001DB02C0") == FrameVerdict::bad_escape);
    CHECK(verdict(format_of(Stuffing::slip), "C001DBC0") == FrameVerdict::bad_escape);
    CHECK(verdict(format_of(Stuffing::kiss), "C000C0") == FrameVerdict::bad_length);
}

TEST_CASE("any split of frames and garbage gives the same frames and the same account", "[escaped_deframer]") {
    std::mt19937 random(11);
    for (const EscapedFormat& format : all_formats()) {
        const std::byte flag = delimiter_of(format.stuffing);
        Bytes stream;
        for (unsigned k = 0; k < 80; ++k) {
            Bytes piece =
                encode_escaped_frame(format, packet_of(3, k, k, random_bytes(random, 1 + random() % 200, 10)));
            if (random() % 3 == 0) piece = random_bytes(random, random() % 90, 5);
            if (random() % 5 == 0 && !piece.empty()) piece[random() % piece.size()] ^= std::byte{0x10};
            if (random() % 7 == 0) piece.assign(random() % 4, flag);
            if (k == 40) piece = random_bytes(random, 6000, 0);
            if (k == 40) std::ranges::replace(piece, flag, std::byte{1});
            stream.insert(stream.end(), piece.begin(), piece.end());
        }
        check_splits(EscapedDeframer(format), stream);
        const Cut seen = cut(EscapedDeframer(format), stream);
        CHECK(seen.counts.frames_good > 25);
        CHECK(seen.count(FrameVerdict::too_long) == 1);
    }
}

TEST_CASE("a run without a flag is bounded and reported in pieces", "[escaped_deframer]") {
    const EscapedFormat format = format_of(Stuffing::slip);
    Bytes stream(2 * kTooLongBytesMax + 10, std::byte{7});
    stream[0] = stream.back() = std::byte{0xC0};
    const Cut seen = cut(EscapedDeframer(format), stream, {4096, 1});
    REQUIRE(seen.frames.size() == 3);
    CHECK(seen.bytes(FrameVerdict::too_long) == stream.size());
    CHECK(seen.pending.empty());
    check_splits(EscapedDeframer(format), stream);
}

TEST_CASE("one damaged byte costs at most two frames", "[escaped_deframer]") {
    for (const EscapedFormat& format : {all_formats()[0], all_formats()[1], all_formats()[3]}) {
        Bytes stream;
        for (unsigned k = 0; k < 4; ++k) {
            const Bytes frame = encode_escaped_frame(format, packet_of(3, k, k, from_hex("7E7DC0DB0102030405")));
            stream.insert(stream.end(), frame.begin(), frame.end());
        }
        for (std::size_t at = 0; at < stream.size(); ++at)
            for (const std::byte damage : {std::byte{1}, std::byte{0x20}, std::byte{0xFF}}) {
                Bytes damaged = stream;
                damaged[at] ^= damage;
                CHECK(cut(EscapedDeframer(format), damaged).counts.frames_good >= 2);
            }
    }
}
