// The rules checked here are those of protocol/NMEA.md and protocol/TEXT.md, sections 1.
#include <catch2/catch.hpp>

#include <string>

#include "protocol/framing/line_deframer.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// CR and LF among a frame's bytes do not count where a reference counts what it ignored.
std::uint64_t characters(const Cut& seen, FrameVerdict verdict, const Bytes& stream) {
    std::uint64_t sum = 0;
    for (const CutFrame& frame : seen.frames)
        if (frame.verdict == verdict)
            for (std::size_t k = frame.stream_offset; k < frame.stream_offset + frame.link_bytes; ++k)
                sum += stream[k] != std::byte{'\r'} && stream[k] != std::byte{'\n'} ? 1 : 0;
    return sum;
}

constexpr const char* kFix = "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,";

} // namespace

TEST_CASE("sentences are found in streams as others find them", "[line_deframer]") {
    int checked = 0;
    for (const auto& stream : read_reference("formats/nmea_more.json").at("streams")) {
        INFO(stream.at("id").get<std::string>());
        const Bytes bytes = from_hex(stream.at("stream_hex").get<std::string>());
        const Cut seen = cut(LineDeframer(sentence_rules()), bytes);
        std::vector<std::string> accepted;
        for (const CutFrame& frame : seen.frames)
            if (frame.verdict == FrameVerdict::good && frame.packet[0] == std::byte{'$'})
                accepted.push_back(text_of(frame.packet));
        std::vector<std::string> expected;
        for (const auto& sentence : stream.at("accepted")) {
            const auto text = sentence.get<std::string>();
            expected.push_back(text.substr(0, text.find('*')));
        }
        CHECK(accepted == expected);
        // A byte that is not of the text makes the checksum wrong as well.
        CHECK(seen.count(FrameVerdict::bad_crc) + seen.count(FrameVerdict::not_text) == stream.at("bad_checksum"));
        CHECK(seen.count(FrameVerdict::no_checksum) == stream.at("no_checksum"));
        CHECK(seen.count(FrameVerdict::too_long) == stream.at("overlong"));
        CHECK(characters(seen, FrameVerdict::outside, bytes) + characters(seen, FrameVerdict::cut_short, bytes) ==
              stream.at("ignored_octets"));
        check_splits(LineDeframer(sentence_rules()), bytes);
        ++checked;
    }
    CHECK(checked == 21);
}

TEST_CASE("each sentence earns its verdict", "[line_deframer]") {
    const std::string fix = encode_sentence(kFix);
    struct Case {
        const char* name;
        std::string stream;
        std::vector<FrameVerdict> verdicts;
    };
    using enum FrameVerdict;
    const std::vector<Case> cases = {
        {"two run together", fix.substr(0, fix.size() - 2) + fix, {cut_short, good}},
        {"two with nothing between but a line end", fix + fix, {good, good}},
        {"CR only", fix.substr(0, fix.size() - 1), {good}},
        {"binary between",
         fix + std::string("\x01\x02\xB5\x62\x00\x24\x07", 7) + fix,
         {good, outside, cut_short, good}},
        {"a sentence within the largest", encode_sentence(std::string(kNmeaBytesMax - 4, 'A')), {good}},
        {"one character more", encode_sentence(std::string(kNmeaBytesMax - 3, 'A')), {too_long}},
        {"a checksum of another", "$" + std::string(kFix) + "*48\r\n", {bad_crc}},
        {"a small letter in the checksum",
         "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6a\r\n",
         {good}},
        {"a star within", "$GP*AB,1*00\r\n", {bad_crc}},
        {"nothing but line ends", "\r\n\n\n\r\r", {}},
    };
    for (const Case& c : cases) {
        INFO(c.name);
        const Bytes stream = bytes_of(c.stream);
        const Cut seen = cut(LineDeframer(sentence_rules()), stream);
        std::vector<FrameVerdict> verdicts;
        for (const CutFrame& frame : seen.frames) verdicts.push_back(frame.verdict);
        CHECK(verdicts == c.verdicts);
        check_splits(LineDeframer(sentence_rules()), stream);
    }
}

TEST_CASE("sentences without checksum are taken where the link says so", "[line_deframer]") {
    const Bytes stream = bytes_of("$" + std::string(kFix) + "\r\n$GPTXT,x*00\r\n");
    CHECK(cut(LineDeframer(sentence_rules(true)), stream).count(FrameVerdict::no_checksum) == 1);
    const Cut optional = cut(LineDeframer(sentence_rules(false)), stream);
    REQUIRE(optional.frames.size() == 2);
    CHECK(text_of(optional.frames[0].packet) == "$" + std::string(kFix));
    CHECK(optional.frames[1].verdict == FrameVerdict::bad_crc);
}

TEST_CASE("lines are found whatever ends them", "[line_deframer]") {
    int checked = 0;
    for (const auto& each : read_reference("formats/text_lines.json").at("chunks")) {
        INFO(each.at("id").get<std::string>());
        LineDeframer deframer(LineRules{});
        std::vector<std::string> lines;
        for (const auto& chunk : each.at("chunks_hex"))
            deframer.push(from_hex(chunk.get<std::string>()), [&](const Frame& frame) {
                REQUIRE(frame.verdict == FrameVerdict::good);
                lines.push_back(text_of(frame.packet));
            });
        auto expected = each.at("expected_lines").get<std::vector<std::string>>();
        std::erase(expected, ""); // blank lines are not frames
        CHECK(lines == expected);
        CHECK(deframer.pending().size() == each.at("left_over_octets"));
        ++checked;
    }
    CHECK(checked == 6);
}

TEST_CASE("a line end of two characters counts with its line", "[line_deframer]") {
    for (const char* end : {"\r", "\n", "\r\n", "\n\r"}) {
        const Cut seen = cut(LineDeframer(LineRules{}), bytes_of(std::string("1,2") + end), {1});
        CHECK(seen.counts.bytes_framed == seen.counts.bytes_in);
        CHECK(seen.counts.frames_good == 1);
    }
    const Cut blank = cut(LineDeframer(LineRules{}), bytes_of("1\r\n\r\n"));
    CHECK(blank.counts.bytes_framed == 3);
    CHECK(blank.counts.bytes_dropped == 2);
}

TEST_CASE("a run without a line end is bounded and reported in pieces", "[line_deframer]") {
    for (const LineRules& rules : {LineRules{}, sentence_rules()}) {
        const Cut seen = cut(LineDeframer(rules), Bytes(2 * kTooLongBytesMax + 10, std::byte{'x'}), {4096, 1});
        REQUIRE(seen.frames.size() == 2);
        CHECK(seen.frames[0].link_bytes == kTooLongBytesMax);
        CHECK(seen.frames[1].stream_offset == kTooLongBytesMax);
        CHECK(seen.pending.empty());
    }
}

TEST_CASE("any split of lines and garbage gives the same frames", "[line_deframer]") {
    std::mt19937 random(11);
    std::string stream;
    for (int k = 0; k < 120; ++k) {
        switch (random() % 6) {
        case 0:
            for (std::size_t n = random() % 300; n > 0; --n) stream += static_cast<char>(random() % 256);
            break;
        case 1: stream += std::string(random() % 200, 'x'); break;
        case 2: stream += "\r\n\n\r"; break;
        case 3: stream += encode_sentence(kFix).substr(0, random() % 60); break;
        default: stream += encode_sentence(kFix); break;
        }
    }
    for (const LineRules& rules :
         {sentence_rules(), sentence_rules(false), LineRules{}, LineRules{.checksum = LineChecksum::xor8}})
        check_splits(LineDeframer(rules), bytes_of(stream));
    CHECK(cut(LineDeframer(sentence_rules()), bytes_of(stream)).counts.frames_good > 30);
}
