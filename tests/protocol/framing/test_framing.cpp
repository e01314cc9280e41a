#include <catch2/catch.hpp>

#include "protocol/framing/framing.hpp"
#include "protocol/text/column_name.hpp"

using namespace turnstone;

namespace {

Result<Framing> read(FramingOptions options) {
    auto framing = take_framing(options);
    if (framing && !options.empty()) return fail("leaves " + options.front().first);
    return framing;
}

} // namespace

TEST_CASE("the options of a framing are read from a link's", "[framing]") {
    CHECK(std::holds_alternative<CobsFraming>(*read({})));
    CHECK(std::holds_alternative<CobsFraming>(*read({{"framing", "cobs"}})));
    const auto nmea =
        std::get<NmeaFraming>(*read({{"framing", "nmea"}, {"checksum", "optional"}, {"anemometer_deg", "-12.5"}}));
    CHECK_FALSE(nmea.checksum_required);
    CHECK(nmea.anemometer_deg == -12.5);
    const auto text = std::get<TextFraming>(*read({{"framing", "text"},
                                                   {"separator", ";"},
                                                   {"decimal", "comma"},
                                                   {"checksum", "crc16"},
                                                   {"packet", "air"},
                                                   {"names", "Time (ms),alt_m,state:text,3rd"}}));
    CHECK(text.separator == ';');
    CHECK(text.decimal == ',');
    CHECK(text.checksum == LineChecksum::crc16);
    CHECK(text.packet == "air");
    CHECK(text.names == std::vector<LineColumn>{{"time_ms"}, {"alt_m"}, {"state", true}, {"c_3rd"}});
    const auto binary =
        std::get<BinaryFraming>(*read({{"framing", "binary"}, {"sync", "eb90"}, {"octets", "32"}})).format;
    CHECK(binary.sync.size() == 2);
    CHECK(binary.payload_bytes == 32);
    CHECK_FALSE(binary.crc);
    const auto hdlc = std::get<EscapedFraming>(*read({{"framing", "hdlc"}, {"skip", "4"}})).format;
    CHECK(hdlc.stuffing == Stuffing::hdlc);
    CHECK(hdlc.skipped_bytes == 4);
    CHECK(hdlc.crc->name == "CRC-16/IBM-SDLC");
    CHECK_FALSE(hdlc.apid);
    const auto wide = std::get<EscapedFraming>(*read({{"framing", "hdlc"}, {"fcs", "32"}})).format;
    CHECK(wide.crc->name == "CRC-32/ISO-HDLC");
    const auto slip =
        std::get<EscapedFraming>(*read({{"framing", "slip"}, {"crc", "CRC-16/ARC"}, {"apid", "5"}})).format;
    CHECK(slip.stuffing == Stuffing::slip);
    CHECK_FALSE(slip.crc_little);
    CHECK(slip.apid == 5);
    const auto kiss = std::get<EscapedFraming>(*read({{"framing", "kiss"}, {"port", "3"}, {"holds", "ax25"}})).format;
    CHECK(kiss.stuffing == Stuffing::kiss);
    CHECK(kiss.port == 3u);
    CHECK(kiss.ax25 == Ax25Head::removed);
    const auto radio = std::get<RadioFraming>(
        *read({{"framing", "kiss"}, {"port", "2"}, {"holds", "aprs"}, {"station", "n0call-11"}}));
    CHECK(radio.format.stuffing == Stuffing::kiss);
    CHECK(radio.format.port == 2u);
    CHECK(radio.format.ax25 == Ax25Head::kept);
    CHECK(radio.station == "N0CALL-11");
    CHECK(std::get<RadioFraming>(*read({{"framing", "kiss"}, {"holds", "aprs"}})).station.empty());
    const auto tm = std::get<TmFraming>(*read({{"framing", "tm"}, {"code", "255-223"}, {"interleave", "5"}})).format;
    CHECK(tm.frame_bytes == 1115);
    CHECK(tm.correctable == 16);
    CHECK(tm.dual_basis);
    CHECK(tm.randomized);
    CHECK_FALSE(tm.error_control);
    const auto plain =
        std::get<TmFraming>(
            *read({{"framing", "tm"}, {"octets", "128"}, {"randomizer", "off"}, {"symbols", "soft"}, {"channel", "3"}}))
            .format;
    CHECK(plain.frame_bytes == 128);
    CHECK(plain.correctable == 0);
    CHECK_FALSE(plain.randomized);
    CHECK(plain.error_control);
    CHECK(plain.symbols == ChannelSymbols::soft);
    CHECK(plain.virtual_channel == 3u);
    CHECK(std::get<PacketsFraming>(*read({{"framing", "packets"}, {"sync", "1ACFFC1D"}})).sync.size() == 4);
    FramingOptions left = {{"baud", "4800"}, {"framing", "nmea"}, {"name", "boat"}};
    REQUIRE(take_framing(left));
    CHECK(left == FramingOptions{{"baud", "4800"}, {"name", "boat"}});
}

TEST_CASE("a mistake in a framing's options says what was expected", "[framing]") {
    const std::vector<std::pair<FramingOptions, std::string>> cases = {
        {{{"framing", "slp"}}, "expected cobs, nmea, text, binary, hdlc, slip, kiss, tm, packets"},
        {{{"framing", "hdlc"}, {"fcs", "24"}}, "16 or 32"},
        {{{"framing", "hdlc"}, {"skip", "17"}}, "up to 16"},
        {{{"framing", "hdlc"}, {"apid", "2047"}}, "APID"},
        {{{"framing", "hdlc"}, {"port", "1"}}, "leaves port"},
        {{{"framing", "slip"}, {"crc", "CRC-99"}}, "CRC-16/IBM-3740"},
        {{{"framing", "kiss"}, {"port", "16"}}, "from 0 to 15"},
        {{{"framing", "kiss"}, {"holds", "text"}}, "aprs, ax25"},
        {{{"framing", "kiss"}, {"holds", "aprs"}, {"station", "N0CALL-16"}}, "an SSID to 15"},
        {{{"framing", "kiss"}, {"holds", "aprs"}, {"apid", "5"}}, "leaves apid"},
        {{{"framing", "kiss"}, {"holds", "ax25"}, {"station", "N0CALL"}}, "leaves station"},
        {{{"framing", "tm"}}, "octets of a transfer frame"},
        {{{"framing", "tm"}, {"octets", "8"}}, "from 16 to 2048"},
        {{{"framing", "tm"}, {"code", "255-200"}}, "255-223, 255-239 or none"},
        {{{"framing", "tm"}, {"code", "255-223"}, {"interleave", "6"}}, "from 1 to 5"},
        {{{"framing", "tm"}, {"code", "255-223"}, {"octets", "224"}}, "up to 223"},
        {{{"framing", "tm"}, {"code", "255-239"}, {"interleave", "2"}, {"octets", "101"}}, "a multiple"},
        {{{"framing", "tm"}, {"code", "255-223"}, {"basis", "other"}}, "dual or conventional"},
        {{{"framing", "tm"}, {"octets", "64"}, {"basis", "dual"}}, "leaves basis"},
        {{{"framing", "tm"}, {"octets", "64"}, {"symbols", "all"}}, "bits, hard, soft"},
        {{{"framing", "tm"}, {"octets", "64"}, {"channel", "8"}}, "from 0 to 7"},
        {{{"framing", "packets"}, {"sync", "1"}}, "hexadecimal"},
        {{{"framing", "nmea"}, {"checksum", "no"}}, "expected required or optional"},
        {{{"framing", "nmea"}, {"anemometer_deg", "north"}}, "degrees from true north"},
        {{{"framing", "nmea"}, {"anemometer_deg", "nan"}}, "degrees from true north"},
        {{{"framing", "text"}, {"separator", "ab"}}, "one character"},
        {{{"framing", "text"}, {"separator", "a"}}, "one character"},
        {{{"framing", "text"}, {"decimal", "comma"}}, "another separator"},
        {{{"framing", "text"}, {"checksum", "sum"}}, "none, xor, crc16"},
        {{{"framing", "text"}, {"names", "a,,b"}}, "names of the columns"},
        {{{"framing", "binary"}}, "octets of the length field"},
        {{{"framing", "binary"}, {"sync", "ABC"}}, "hexadecimal"},
        {{{"framing", "binary"}, {"sync", "AB"}, {"length", "3"}}, "1, 2 or 4"},
        {{{"framing", "binary"}, {"length", "2"}}, "fixed size"},
        {{{"framing", "binary"}, {"octets", "8"}}, "fixed size"},
        {{{"framing", "binary"}, {"sync", "AB"}, {"octets", "0"}}, "up to 65536"},
        {{{"framing", "binary"}, {"sync", "AB"}, {"octets", "8"}, {"crc", "CRC-99"}}, "CRC-16/IBM-3740"},
        {{{"framing", "binary"}, {"sync", "AB"}, {"octets", "8"}, {"crc_covers", "all"}}, "sync, length or payload"},
        {{{"framing", "binary"}, {"sync", "AB"}, {"octets", "8"}, {"apid", "2047"}}, "APID"},
    };
    for (const auto& [options, expected] : cases) {
        INFO(expected);
        const auto framing = read(options);
        REQUIRE_FALSE(framing);
        CHECK_THAT(framing.error().message, Catch::Contains(expected));
    }
}

TEST_CASE("names of columns are made of what senders call them", "[framing]") {
    for (const auto& [title, name] : std::vector<std::pair<std::string, std::string>>{{"Alt (m)", "alt_m"},
                                                                                      {"TEMP#1", "temp_1"},
                                                                                      {"  a--b  ", "a_b"},
                                                                                      {"3D", "c_3d"},
                                                                                      {"\xC3\xA9t\xC3\xA9", "t"},
                                                                                      {"***", ""}}) {
        CHECK(column_name(title) == name);
        CHECK(is_column_name(title, name));
        CHECK_FALSE(is_column_name(title, name + "x"));
    }
}
