// Every expected value is computed by hand from LINK.md and DICTIONARY.md, or from IEEE 754-2008; UTF-8 cases are those
// of The Unicode Standard, 3.9.
#include <cmath>

#include <catch2/catch.hpp>

#include "protocol/decode/decode_numbers.hpp"
#include "protocol/decode/decoder.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/bytes.hpp"
#include "tests/protocol/plain_rows.hpp"

using namespace turnstone;

namespace {

Dictionary one_packet(const std::string& fields, const std::string& rest = "") {
    return dictionary_of(nlohmann::json::parse(
        R"({"vehicle":"v","version":"1","time":{"format":"u32_ms"},"packets":[{"apid":33,"name":"p","period_ms":0,"fields":)" +
        fields + rest + "}]}"));
}

/// Decodes with the decoder's vectors and with the plain way: the same bits and marks. Returns the rows compared.
int compare_ways(Decoder& decoder, const Dictionary& dictionary, const Bytes& packet_bytes) {
    const Exact packet(packet_bytes);
    const DecodedPacket decoded = decoder.decode(packet.span());
    REQUIRE(decoded.verdict == DecodeVerdict::good);
    const auto plain = plain_rows(dictionary, dictionary.packets[decoded.packet], packet.span());
    REQUIRE(decoded.rows.size() == plain.size());
    for (std::size_t k = 0; k < plain.size(); ++k) {
        INFO("row " << k);
        REQUIRE(decoded.rows[k].out_of_range == plain[k].out_of_range);
        REQUIRE(same_bits(decoded.rows[k].numbers, plain[k].numbers));
    }
    REQUIRE(same_by_walk(PacketWalk(dictionary, decoded.packet), decoded, packet.span()));
    return static_cast<int>(plain.size());
}

std::vector<double> numbers_of(const std::string& fields, std::string_view user_hex) {
    const Dictionary dictionary = one_packet(fields);
    Decoder decoder(dictionary);
    const Bytes packet = packet_of(33, 0, 0, from_hex(user_hex));
    CHECK(compare_ways(decoder, dictionary, packet) == 1);
    const DecodedPacket decoded = decoder.decode(Exact(packet).span());
    REQUIRE(decoded.rows.size() == 1);
    return {decoded.rows[0].numbers.begin(), decoded.rows[0].numbers.end()};
}

} // namespace

TEST_CASE("the worked example of LINK.md decodes to what LINK.md says", "[decoder]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(
        R"({"vehicle":"v","version":"1","time":{"format":"u32_ms"},"packets":[)" + link_example("json") + "]}"));
    Decoder decoder(dictionary);
    const Bytes frame_bytes = from_hex(link_example("hex frame"));
    const Bytes checked = from_hex(link_example("hex packet-and-checksum"));
    CHECK(frame_of(std::span(checked).first(checked.size() - 2)) == frame_bytes);
    Deframer deframer;
    int frames = 0;
    deframer.push(frame_bytes, [&](const Frame& frame) {
        ++frames;
        REQUIRE(frame.verdict == FrameVerdict::good);
        const DecodedPacket packet = decoder.decode(frame.packet);
        REQUIRE(packet.verdict == DecodeVerdict::good);
        CHECK(packet.apid == 33);
        CHECK(packet.sequence_count == 258);
        CHECK(packet.onboard_ticks_ns == 66'051'000'000ULL);
        REQUIRE(packet.rows.size() == 1);
        const auto numbers = packet.rows[0].numbers;
        CHECK(std::vector<double>(numbers.begin(), numbers.end()) == std::vector<double>{1, -3, 101350, 513});
        REQUIRE(packet.rows[0].texts.size() == 1);
        CHECK(packet.rows[0].texts[0] == "ab");
    });
    CHECK(frames == 1);
}

TEST_CASE("every type, order and place gives its hand-computed value", "[decoder]") {
    struct Case {
        const char* fields;
        const char* hex;
        std::vector<double> expected;
    };
    const std::vector<Case> cases = {
        {R"([{"name":"a","type":"u8"},{"name":"b","type":"i8"}])", "FF80", {255, -128}},
        {R"([{"name":"a","type":"u16"},{"name":"b","type":"i16"}])", "FFFE8001", {65534, -32767}},
        {R"([{"name":"a","type":"u24"},{"name":"b","type":"i24"}])", "800001800001", {8388609, -8388607}},
        {R"([{"name":"a","type":"u32"},{"name":"b","type":"i32"}])", "FFFFFFFFFFFFFFFF", {4294967295, -1}},
        {R"([{"name":"a","type":"u48"},{"name":"b","type":"i40"}])",
         "0001000000028000000000",
         {4294967298, -549755813888}},
        {R"([{"name":"a","type":"u64"},{"name":"b","type":"i64"}])",
         "FFFFFFFFFFFFFFFF8000000000000000",
         {18446744073709551616.0, -9223372036854775808.0}},
        {R"([{"name":"a","type":"u16","byte_order":"little"},{"name":"b","type":"i16","byte_order":"little"}])",
         "0180FEFF",
         {32769, -2}},
        {R"([{"name":"a","type":"i24","byte_order":"little"},{"name":"b","type":"u32","byte_order":"little"}])",
         "01008000000080",
         {-8388607, 2147483648}},
        {R"([{"name":"a","type":"i64","byte_order":"little"}])", "FEFFFFFFFFFFFFFF", {-2}},
        // bits: 1 | 10 | 011 | 11110000 11 | 0 ...
        {R"([{"name":"a","type":"u1"},{"name":"b","type":"i2"},{"name":"c","type":"u3"},{"name":"d","type":"i10"}])",
         "CFC3",
         {1, -2, 3, -61}},
        {R"([{"name":"a","type":"u12","bit_offset":4}])", "FABC", {2748}},
        {R"([{"name":"a","type":"i12","bit_offset":4}])", "0ABC", {-1348}},
        // 64 bits that begin at bit 3 span nine bytes: 0x0123456789ABCDEF shifted right by three
        {R"([{"name":"a","type":"u64","bit_offset":3}])", "002468ACF13579BDE0", {81985529216486895.0}},
        {R"([{"name":"a","type":"i61","bit_offset":7}])", "01FFFFFFFFFFFFFFF0", {-1}},
        {R"([{"name":"a","type":"u5","count":3},{"name":"b","type":"u1"}])", "0886", {1, 2, 3, 0}},
        {R"([{"name":"a","type":"i16","count":2,"byte_order":"little"}])", "01000200", {1, 2}},
        {R"([{"name":"a","type":"f32"},{"name":"b","type":"f32","byte_order":"little"}])",
         "BFC000000000C0BF",
         {-1.5, -1.5}},
        {R"([{"name":"a","type":"f64"},{"name":"b","type":"f64","byte_order":"little"}])",
         "3FF80000000000009A9999999999B93F",
         {1.5, 0.1}},
        {R"([{"name":"a","type":"f32","bit_offset":1}])", "5FE0000000", {-1.5}},
        {R"([{"name":"a","type":"u8","bit_offset":16},{"name":"b","type":"u8","bit_offset":0}])", "01FF02", {2, 1}},
    };
    for (const Case& c : cases) {
        INFO(c.fields);
        CHECK(numbers_of(c.fields, c.hex) == c.expected);
    }
}

TEST_CASE("binary16 decodes as IEEE 754-2008 says", "[decoder]") {
    // Table of notable values: one, two, largest, least normal, largest and least subnormal, one third.
    const std::vector<std::pair<const char*, double>> cases = {
        {"3C00", 1.0},     {"C000", -2.0},           {"7BFF", 65504.0}, {"0400", 0x1p-14}, {"03FF", 1023 * 0x1p-24},
        {"0001", 0x1p-24}, {"3555", 0.333251953125}, {"8001", -0x1p-24}};
    for (const auto& [hex, value] : cases) {
        INFO(hex);
        CHECK(numbers_of(R"([{"name":"a","type":"f16"}])", hex) == std::vector<double>{value});
    }
    CHECK(std::signbit(numbers_of(R"([{"name":"a","type":"f16"}])", "8000")[0]));
}

TEST_CASE("what is not finite has no value", "[decoder]") {
    for (const char* hex : {"7C00", "FC00", "7E00", "7C01"})
        CHECK(std::isnan(numbers_of(R"([{"name":"a","type":"f16"}])", hex)[0]));
    CHECK(std::isnan(numbers_of(R"([{"name":"a","type":"f32"}])", "7FC00000")[0]));
    CHECK(std::isnan(numbers_of(R"([{"name":"a","type":"f64"}])", "FFF0000000000000")[0]));
    // 255^5 * 1e300 is too large for binary64
    CHECK(std::isnan(
        numbers_of(R"([{"name":"a","type":"u8","calibration":{"polynomial":[0,0,0,0,0,1e300]}}])", "FF")[0]));
}

TEST_CASE("calibrations turn raw into engineering values", "[decoder]") {
    CHECK(numbers_of(R"([{"name":"a","type":"i16","calibration":{"linear":{"gain":0.5,"offset":-3}}}])", "FFFE") ==
          std::vector<double>{-4.0});
    CHECK(numbers_of(R"([{"name":"a","type":"u8","calibration":{"polynomial":[1,2,3]}}])", "05") ==
          std::vector<double>{86.0}); // 1 + 2*5 + 3*25
    const std::string table =
        R"([{"name":"a","type":"i8","count":6,"calibration":{"table":[[0,100],[10,200],[20,0]]}}])";
    // below, at points, between, beyond: the outer segments go on
    CHECK(numbers_of(table, "FF00050A0F1E") == std::vector<double>{90, 100, 150, 200, 100, -200});
    CHECK(numbers_of(R"([{"name":"a","type":"u2","enumeration":{"2":"two"}},{"name":"b","type":"u6"}])", "80") ==
          std::vector<double>{2, 0});
}

TEST_CASE("values outside their valid range are marked, on the bit of their channel", "[decoder]") {
    const Dictionary dictionary = one_packet(
        R"([{"name":"free","type":"u8"},{"name":"a","type":"u8","valid_range":[10,20]},{"name":"t","type":"text","octets":1},
            {"name":"b","type":"f32","valid_range":[-1,1]}])");
    Decoder decoder(dictionary);
    const auto marks = [&](const char* hex) {
        return decoder.decode(packet_of(33, 0, 0, from_hex(hex))).rows[0].out_of_range;
    };
    CHECK(marks("FF0A4100000000") == 0);
    CHECK(marks("FF144100000000") == 0);
    CHECK(marks("FF094100000000") == 0b010);
    CHECK(marks("00154140000000") == 0b110);
    CHECK(marks("000A417FC00000") == 0);     // no number at all: absent, not out of range
    CHECK(marks("000A417F800000") == 0b100); // infinite
}

TEST_CASE("text is valid UTF-8 up to the first NUL, whatever the bytes are", "[decoder]") {
    const Dictionary dictionary = one_packet(R"([{"name":"t","type":"text","octets":8}])");
    Decoder decoder(dictionary);
    const std::string mark = "\xEF\xBF\xBD";
    const std::vector<std::pair<const char*, std::string>> cases = {
        {"6162630000000000", "abc"},
        {"6162636465666768", "abcdefgh"},
        {"0061620000000000", ""},
        {"6100620000000000", "a"},
        {"C3A9E282AC000000", "\xC3\xA9\xE2\x82\xAC"},
        {"F09F9A8000000000", "\xF0\x9F\x9A\x80"},
        // Unicode 3.9: overlong, surrogate, beyond U+10FFFF, truncated: one mark for each maximal ill-formed part
        {"C0AF610000000000", mark + mark + "a"},
        {"EDA080610000000A", mark + mark + mark + "a"},
        {"F490808000000000", mark + mark + mark + mark},
        {"E282410000000000", mark + "A"},
        {"616263646566F09F", "abcdef" + mark},
        {"FFFFFFFFFFFFFFFF", mark + mark + mark + mark + mark + mark + mark + mark},
    };
    for (const auto& [hex, expected] : cases) {
        INFO(hex);
        const Exact packet(packet_of(33, 0, 0, from_hex(hex)));
        const DecodedPacket decoded = decoder.decode(packet.span());
        REQUIRE(decoded.rows.size() == 1);
        CHECK(decoded.rows[0].texts[0] == expected);
    }
}

TEST_CASE("a batch gives one row for each sample, each with its own time", "[decoder]") {
    const Dictionary dictionary = one_packet(
        R"([{"name":"a","type":"u4"}])",
        R"(,"batch":{"name":"s","count":3,"period_ms":2.5,"first_offset_ms":-5,"fields":[{"name":"x","type":"i12"}]})");
    Decoder decoder(dictionary);
    const DecodedPacket decoded = decoder.decode(packet_of(33, 7, 100, from_hex("F0 FFF0 0010 7FF0")));
    REQUIRE(decoded.verdict == DecodeVerdict::good);
    REQUIRE(decoded.rows.size() == 4);
    CHECK(decoded.rows[0].table == 0);
    CHECK(decoded.rows[0].numbers[0] == 15);
    const double expected[] = {-1, 1, 2047};
    for (std::size_t k = 0; k < 3; ++k) {
        const DecodedRow& row = decoded.rows[k + 1];
        CHECK(row.table == 1);
        CHECK(row.time_offset_ms == -5 + 2.5 * static_cast<double>(k));
        REQUIRE(row.numbers.size() == 1);
        CHECK(row.numbers[0] == expected[k]);
    }
}

TEST_CASE("packets the dictionary cannot read say why", "[decoder]") {
    const Dictionary dictionary = one_packet(R"([{"name":"a","type":"u8"}])");
    Decoder decoder(dictionary);
    const Bytes good = packet_of(33, 5, 0, from_hex("01"));
    struct Case {
        std::size_t byte;
        unsigned value;
        DecodeVerdict verdict;
    };
    CHECK(decoder.decode(good).verdict == DecodeVerdict::good);
    for (const Case& c : {Case{1, 34, DecodeVerdict::unknown_apid}, Case{0, 0x00, DecodeVerdict::no_time},
                          Case{0, 0x18, DecodeVerdict::not_telemetry}, Case{0, 0x28, DecodeVerdict::not_telemetry},
                          Case{2, 0x40, DecodeVerdict::not_telemetry}, Case{5, 5, DecodeVerdict::wrong_size}}) {
        Bytes packet = good;
        packet[c.byte] = static_cast<std::byte>(c.value);
        INFO(to_hex(packet));
        const DecodedPacket decoded = decoder.decode(packet);
        CHECK(decoded.verdict == c.verdict);
        CHECK(decoded.sequence_count == 5);
        CHECK(decoded.rows.empty());
    }
    CHECK(decoder.decode(packet_of(2047, 0, 0, from_hex("01"))).verdict == DecodeVerdict::idle);
    CHECK(decoder.decode(packet_of(33, 0, 0, from_hex("0102"))).verdict == DecodeVerdict::wrong_size);
    for (std::size_t size = 0; size < good.size(); ++size)
        CHECK(decoder.decode(Exact{std::span(good).first(size)}.span()).verdict == DecodeVerdict::wrong_size);
}

TEST_CASE("one decoder reads different packets in any order", "[decoder]") {
    const Dictionary demo = dictionary_of(read_json(demo_path("sanderling/dictionary.json")));
    Decoder decoder(demo);
    std::mt19937 random(3);
    for (int i = 0; i < 200; ++i) {
        const Packet& packet = demo.packets[random() % demo.packets.size()];
        const DecodedPacket decoded = decoder.decode(
            packet_of(packet.apid, 0x3FFF, 0xFFFFFFFF, random_bytes(random, packet.user_data_bytes(), 20)));
        REQUIRE(decoded.verdict == DecodeVerdict::good);
        REQUIRE(demo.packets[decoded.packet].apid == packet.apid);
        REQUIRE(decoded.sequence_count == 16383);
        REQUIRE(decoded.onboard_ticks_ns == 4'294'967'295'000'000ULL);
        for (const DecodedRow& row : decoded.rows) {
            REQUIRE(row.numbers.size() == demo.tables[row.table].number_count);
            REQUIRE(row.texts.size() == demo.tables[row.table].text_count);
        }
    }
}

TEST_CASE("vectors and the plain way give the same bits", "[decoder]") {
    std::mt19937 random(4);
    int rows = 0;
    for (const char* file : {"tools/demo/sanderling/dictionary.json", "tests/golden/dictionary/stress.json"}) {
        const Dictionary dictionary = dictionary_of(read_json(source_path(file)));
        Decoder decoder(dictionary);
        for (const Packet& packet : dictionary.packets) {
            std::vector<Bytes> contents;
            for (const unsigned value : {0x00U, 0xFFU, 0x80U, 0x7FU}) // signs, limits, infinities, not numbers
                contents.emplace_back(packet.user_data_bytes(), static_cast<std::byte>(value));
            for (int i = 0; i < 300; ++i) contents.push_back(random_bytes(random, packet.user_data_bytes(), 30));
            for (const Bytes& user : contents) rows += compare_ways(decoder, dictionary, packet_of(packet, user));
        }
    }
    CHECK(rows == 304 * (1 + 4 + 1 + 1 + 1 + 1 + 1 + 1 + 20) + 304 * (1 + 1 + 1 + 1 + 25 + 12));
}

TEST_CASE("packets that tell their own layout are read alike however they are damaged", "[decoder]") {
    const Dictionary dictionary = dictionary_of(read_json(source_path("tests/golden/dictionary/varied.json")));
    Decoder decoder(dictionary);
    std::mt19937 random(8);
    const auto walks = walks_of(dictionary);
    std::vector<int> good(dictionary.packets.size(), 0);
    for (int i = 0; i < 40'000; ++i) {
        const Packet& about = dictionary.packets[random() % dictionary.packets.size()];
        Bytes bytes = packet_of(about, random_bytes(random, 1 + random() % 120, 40));
        if (about.header_bytes == 9) { // services, and a P-field that says what the dictionary does
            bytes[6] = static_cast<std::byte>(random() % 4);
            bytes[7] = static_cast<std::byte>(random() % 30);
            bytes[8] = std::byte{0x2E};
        }
        if (about.apid == 3 && bytes.size() > 30) bytes[20] = std::byte{0x0D}, bytes[21] = std::byte{0x0A};
        if (random() % 8 == 0) bytes[2] = static_cast<std::byte>(random());
        const Exact packet(bytes);
        const DecodedPacket decoded = decoder.decode(packet.span());
        if (decoded.verdict != DecodeVerdict::good) {
            REQUIRE(decoded.rows.empty());
            continue;
        }
        ++good[decoded.packet];
        REQUIRE(same_by_walk(walks[decoded.packet], decoded, packet.span()));
        for (const DecodedRow& row : decoded.rows) {
            REQUIRE(row.numbers.size() == dictionary.tables[row.table].number_count);
            REQUIRE(row.texts.size() == dictionary.tables[row.table].text_count);
        }
    }
    for (std::size_t k = 0; k < good.size(); ++k) {
        INFO(dictionary.packets[k].name);
        CHECK(good[k] > 0);
    }
}

TEST_CASE("no packet makes more rows than there is room for", "[decoder]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(
        R"({"vehicle":"v","version":"1","packets":[{"apid":1,"name":"p","period_ms":0,"fields":[
            {"name":"times","type":"u16"},{"name":"bits","count":{"field":"times","times":8},"fields":[{"name":"bit","type":"u1"}]},
            {"name":"rest","type":"octets","octets":"to_end"}]}]})"));
    Decoder decoder(dictionary);
    for (const unsigned times : {8191U, 8192U, 65'000U}) {
        Bytes user(65'536, std::byte{0x55});
        user[0] = static_cast<std::byte>(times >> 8U);
        user[1] = static_cast<std::byte>(times & 0xFFU);
        const Exact packet(packet_of(dictionary.packets[0], user));
        const DecodedPacket decoded = decoder.decode(packet.span());
        CHECK(decoded.verdict == (times < 8192 ? DecodeVerdict::good : DecodeVerdict::wrong_size));
        CHECK(decoded.rows.size() == (times < 8192 ? 1 + std::size_t{8} * times : 0));
    }
}

TEST_CASE("rows of any number of 16-bit channels decode alike, down to the shortest packet", "[decoder]") {
    std::mt19937 random(6);
    int rows = 0;
    for (const char* type : {"i16", "u16", "u8", "i5"}) {
        for (int count = 1; count <= 13; ++count) {
            const std::string field = R"({"name":"a","type":")" + std::string(type) + R"(","count":)" +
                                      std::to_string(count) + R"(,"valid_range":[-7000,9000]})";
            const Dictionary dictionary = dictionary_of(nlohmann::json::parse(
                R"({"vehicle":"v","version":"1","time":{"format":"cuc","coarse_octets":1,"fine_octets":0},"packets":[
                    {"apid":33,"name":"p","period_ms":0,"fields":[)" +
                field + R"(],"batch":{"name":"b","count":3,"period_ms":1,"fields":[)" + field + R"(]}},
                    {"apid":34,"name":"q","period_ms":0,"fields":[)" +
                field + "]}]}"));
            Decoder decoder(dictionary);
            for (const Packet& packet : dictionary.packets)
                for (int i = 0; i < 20; ++i)
                    rows += compare_ways(decoder, dictionary,
                                         packet_of(packet, random_bytes(random, packet.user_data_bytes(), 30)));
        }
    }
    CHECK(rows == 4 * 13 * 20 * (4 + 1));
}
