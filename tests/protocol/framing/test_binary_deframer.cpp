// The rules checked here are those of protocol/BINARY.md.
#include <catch2/catch.hpp>

#include <map>
#include <string>

#include "protocol/framing/binary_deframer.hpp"
#include "protocol/framing/framing.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// A format of the reference file, as the options of a link say it.
BinaryFormat format_of(const nlohmann::json& about, std::size_t payload_max) {
    const std::map<std::string, std::string> counts = {{"payload", "payload"},
                                                       {"payload_and_crc", "payload_and_crc"},
                                                       {"length_payload_crc", "after_sync"},
                                                       {"whole_frame", "frame"}};
    FramingOptions options = {{"framing", "binary"},
                              {"sync", about.at("sync_hex")},
                              {"length", std::to_string(about.at("length_octets").get<int>())},
                              {"length_order", about.at("length_order")},
                              {"length_counts", counts.at(about.at("length_counts"))},
                              {"octets_max", std::to_string(payload_max)},
                              {"crc", about.at("crc")},
                              {"crc_order", about.at("crc_order")},
                              {"crc_covers", about.at("crc_covers")[0]}};
    const auto framing = take_framing(options);
    REQUIRE(framing);
    REQUIRE(options.empty());
    return std::get<BinaryFraming>(*framing).format;
}

const nlohmann::json& formats() {
    return read_reference("formats/binary_frames.json");
}

const nlohmann::json& about(const nlohmann::json& entry) {
    for (const auto& format : formats().at("formats"))
        if (format.at("id") == entry.at("format")) return format;
    throw std::runtime_error("no such format");
}

Bytes payload_of(const CutFrame& frame) {
    return {frame.packet.begin() + kPrimaryHeaderBytes, frame.packet.end()};
}

} // namespace

TEST_CASE("frames are built and read as others build them", "[binary_deframer]") {
    int checked = 0;
    for (const auto& frame : formats().at("frames")) {
        INFO(frame.at("id").get<std::string>());
        const BinaryFormat format = format_of(about(frame), 1024);
        const Bytes payload = from_hex(frame.at("payload_hex").get<std::string>());
        const Bytes bytes = from_hex(frame.at("frame_hex").get<std::string>());
        CHECK(encode_binary_frame(format, payload) == bytes);
        const Cut seen = cut(BinaryDeframer(format), bytes);
        REQUIRE(seen.frames.size() == 1);
        CHECK(seen.frames[0].verdict == FrameVerdict::good);
        CHECK(payload_of(seen.frames[0]) == payload);
        ++checked;
    }
    CHECK(checked == 30);
}

TEST_CASE("streams are accounted for byte by byte, as others account for them", "[binary_deframer]") {
    int checked = 0;
    for (const auto& stream : formats().at("streams")) {
        INFO(stream.at("id").get<std::string>());
        const BinaryFormat format = format_of(about(stream), stream.at("max_payload").get<std::size_t>());
        const Bytes bytes = from_hex(stream.at("stream_hex").get<std::string>());
        const Cut seen = cut(BinaryDeframer(format), bytes);
        std::vector<std::string> payloads;
        for (const CutFrame& frame : seen.frames)
            if (frame.verdict == FrameVerdict::good) payloads.push_back(to_hex(payload_of(frame)));
        std::vector<std::string> expected;
        for (const auto& payload : stream.at("expected_payloads_hex"))
            expected.push_back(to_hex(from_hex(payload.get<std::string>())));
        CHECK(payloads == expected);
        CHECK(seen.counts.bytes_framed == stream.at("octets_in_frames"));
        CHECK(seen.counts.bytes_dropped == stream.at("octets_skipped"));
        CHECK(seen.pending.size() == stream.at("octets_waiting"));
        CHECK(seen.count(FrameVerdict::bad_crc) == stream.at("crc_failures"));
        CHECK(seen.count(FrameVerdict::bad_length) == stream.at("length_failures"));
        if (!bytes.empty()) check_splits(BinaryDeframer(format), bytes);
        ++checked;
    }
    CHECK(checked == 66);
}

TEST_CASE("frames of fixed size need no length, and with a CRC no sync word", "[binary_deframer]") {
    BinaryFormat format;
    format.payload_bytes = 6;
    format.crc = crc_kind_from_text("CRC-16/ARC");
    for (const char* sync : {"", "A5"}) {
        format.sync = from_hex(sync);
        Bytes stream = from_hex("00A5FF17A5");
        for (unsigned k = 0; k < 5; ++k) {
            const Bytes frame = encode_binary_frame(format, Bytes(6, static_cast<std::byte>(k + 1)));
            stream.insert(stream.end(), frame.begin(), frame.end());
            if (k == 2) stream.push_back(std::byte{0xA5});
        }
        const Cut seen = cut(BinaryDeframer(format), stream);
        CHECK(seen.counts.frames_good == 5);
        CHECK(seen.counts.bytes_dropped == 6);
        check_splits(BinaryDeframer(format), stream);
    }
}

TEST_CASE("packets made of payloads have the link's APID and a count", "[binary_deframer]") {
    BinaryFormat format;
    format.sync = from_hex("EB90");
    format.payload_bytes = 3;
    format.apid = 300;
    Bytes stream;
    for (unsigned k = 0; k < 3; ++k) {
        const Bytes frame = encode_binary_frame(format, Bytes(3, std::byte{9}));
        stream.insert(stream.end(), frame.begin(), frame.end());
    }
    std::uint16_t expected = 0;
    for (const CutFrame& frame : cut(BinaryDeframer(format), stream).frames) {
        const auto header = decode_primary_header(frame.packet);
        REQUIRE(header);
        CHECK(header->apid == 300);
        CHECK(header->sequence_count == expected++);
        CHECK(header->packet_data_length + 1u + kPrimaryHeaderBytes == frame.packet.size());
    }
    CHECK(expected == 3);
}

TEST_CASE("any split of frames and garbage gives the same frames", "[binary_deframer]") {
    std::mt19937 random(5);
    for (const auto& each : formats().at("formats")) {
        INFO(each.at("id").get<std::string>());
        const BinaryFormat format = format_of(each, 200);
        Bytes stream;
        for (int k = 0; k < 60; ++k) {
            Bytes piece = random() % 3 == 0 ? random_bytes(random, random() % 90, 5)
                                            : encode_binary_frame(format, random_bytes(random, random() % 120, 10));
            if (random() % 5 == 0 && !piece.empty()) piece[random() % piece.size()] ^= std::byte{0x10};
            if (random() % 7 == 0) piece = format.sync;
            stream.insert(stream.end(), piece.begin(), piece.end());
        }
        check_splits(BinaryDeframer(format), stream);
        CHECK(cut(BinaryDeframer(format), stream).counts.frames_good > 15);
    }
}

TEST_CASE("noise is bounded and reported in pieces", "[binary_deframer]") {
    BinaryFormat format;
    format.sync = from_hex("EB90");
    format.length_bytes = 4;
    format.payload_bytes = 1024;
    const Cut seen = cut(BinaryDeframer(format), Bytes(2 * kTooLongBytesMax + 10, std::byte{7}), {4096, 1});
    REQUIRE(seen.frames.size() == 2);
    CHECK(seen.frames[1].stream_offset == kTooLongBytesMax);
    CHECK(seen.frames[1].verdict == FrameVerdict::outside);
    CHECK(seen.pending.empty());
}
