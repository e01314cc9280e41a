// Source: tests/reference/formats/packets.json: CCSDS 133.0-B-2 packets of 7 to 65,542 bytes whose headers were
// dissected with tshark 4.0.17, secondary headers with more than a time, and layouts over IEEE 754 and two's
// complement.
#include <cmath>
#include <numeric>

#include <catch2/catch.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

nlohmann::json field_of(const nlohmann::json& given) {
    nlohmann::json field;
    field["name"] = given["name"];
    const std::string type = given["type"];
    if (type == "utf8") {
        field["type"] = "text";
        field["terminator"] = "none";
        field["octets"] = {{"field", given["octets_from"]}};
        return field;
    }
    const std::string letter = type == "uint" ? "u" : type == "int" ? "i" : "f";
    field["type"] = letter + std::to_string(given["bits"].get<int>());
    if (given.contains("at_bit")) field["bit_offset"] = given["at_bit"];
    if (given.value("order", "big") == "little") field["byte_order"] = "little";
    if (given.contains("count_from")) field["count"] = {{"field", given["count_from"]}};
    return field;
}

nlohmann::json packet(const std::string& name) {
    return {{"apid", 100}, {"name", name}, {"period_ms", 0}, {"fields", nlohmann::json::array()}};
}

/// One packet for each leaf of the selection, with the selectors as its first fields.
void add_cases(const nlohmann::json& layout, nlohmann::json base, nlohmann::json& packets) {
    if (layout.is_array()) {
        for (const auto& field : layout) base["fields"].push_back(field_of(field));
        base["octets"] = {7, 1000}; // more may follow the fields
        base["name"] = "p" + std::to_string(packets.size());
        packets.push_back(base);
        return;
    }
    for (const auto& [value, inner] : layout["cases"].items()) {
        nlohmann::json one = base;
        one["fields"].push_back(field_of(layout["select"]));
        one["when"][layout["select"]["name"].get<std::string>()] = std::stoi(value);
        add_cases(inner, one, packets);
    }
}

/// The first field is the one that others may overlap.
nlohmann::json dictionary_json(const nlohmann::json& layout) {
    nlohmann::json packets = nlohmann::json::array();
    if (layout.contains("select")) {
        add_cases(layout, packet("p"), packets);
    } else {
        nlohmann::json one = packet("p");
        const bool is_sequence = layout.contains("sequence");
        std::uint32_t end = 0;
        for (const auto& given : layout[is_sequence ? "sequence" : "fields"]) {
            nlohmann::json field = field_of(given);
            if (!is_sequence) {
                if (given["at_bit"] < end) field["part_of"] = one["fields"][0]["name"];
                end = std::max(end, given["at_bit"].get<std::uint32_t>() + given["bits"].get<std::uint32_t>());
            }
            one["fields"].push_back(field);
        }
        packets.push_back(one);
    }
    return {{"vehicle", "v"}, {"version", "1"}, {"packets", packets}};
}

double number_of(const nlohmann::json& value) {
    if (value.is_number()) return value;
    const std::string text = value;
    return text == "NaN" || text == "Infinity" || text == "-Infinity" ? NAN : std::stod(text);
}

Bytes filled(const nlohmann::json& given) {
    Bytes bytes = from_hex(given["header_hex"].get<std::string>());
    const std::string fill = given["fill"];
    for (unsigned i = 0; i < given["fill_octets"]; ++i)
        bytes.push_back(static_cast<std::byte>(fill == "ramp"     ? i
                                               : fill == "affine" ? 7 * i + 3
                                               : fill == "idle55" ? 0x55U
                                                                  : 0U));
    if (given["packet_error_control"]) {
        const Bytes crc = from_hex(given["crc16_ibm3740_hex"].get<std::string>());
        bytes.insert(bytes.end(), crc.begin(), crc.end());
    }
    return bytes;
}

const nlohmann::json& cases() {
    return read_reference("formats/packets.json");
}

} // namespace

TEST_CASE("layouts chosen by fields, sized by fields and overlapping give their values", "[decoder]") {
    int checked = 0;
    for (const auto& test : cases()["layouts"]) {
        INFO(test["id"]);
        const Dictionary dictionary = dictionary_of(dictionary_json(test["layout"]));
        Decoder decoder(dictionary);
        const Exact bytes(packet_of(dictionary.packets[0], from_hex(test["payload_hex"].get<std::string>())));
        const DecodedPacket decoded = decoder.decode(bytes.span());
        const nlohmann::json& expected = test["expected"];
        ++checked;
        if (test["id"] == "sized_bad_utf8") { // said in the text itself: U+FFFD in place of what is not UTF-8
            REQUIRE(decoded.verdict == DecodeVerdict::good);
            CHECK(decoded.rows[0].texts[0] == "\xEF\xBF\xBD(");
            continue;
        }
        if (expected.contains("error")) {
            CHECK(decoded.verdict ==
                  (test["id"] == "select_unknown" ? DecodeVerdict::no_layout : DecodeVerdict::wrong_size));
            continue;
        }
        REQUIRE(decoded.verdict == DecodeVerdict::good);
        const ChannelTable& table = dictionary.tables[decoded.rows[0].table];
        for (const Channel& channel : table.channels) {
            INFO(channel.name);
            if (channel.is_text()) {
                CHECK(decoded.rows[0].texts[channel.place - table.number_count] == expected[channel.name]);
                continue;
            }
            const double value = decoded.rows[0].numbers[channel.place];
            const double wanted = number_of(expected[channel.name]);
            CHECK((std::isnan(wanted) ? std::isnan(value) : value == wanted));
            CHECK(std::signbit(value) == std::signbit(wanted == 0 ? wanted : value));
        }
        if (!expected.contains("samples")) continue;
        REQUIRE(decoded.rows.size() == 1 + expected["samples"].size());
        for (std::size_t k = 0; k < expected["samples"].size(); ++k)
            CHECK(decoded.rows[k + 1].numbers[0] == expected["samples"][k]);
    }
    CHECK(checked == 19);
}

TEST_CASE("secondary headers give their fields beside the time", "[decoder]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(R"({"vehicle":"v","version":"1",
        "secondary_header":{"fields":[
          {"name":"sent","type":"time","code":{"format":"cuc","coarse_octets":4,"fine_octets":1,
            "epoch":"1980-01-06T00:00:00Z"}},
          {"name":"time_id","type":"u2"},{"name":"checkword_indicator","type":"u1"},{"name":"spare","type":"u1"},
          {"name":"packet_type","type":"u4"},{"name":"ancillary","type":"u32"}]},
        "packets":[{"apid":200,"name":"p","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]},
                   {"apid":201,"name":"q","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]}]})"));
    Decoder decoder(dictionary);
    int checked = 0;
    for (const auto& test : cases()["secondary_headers"]) {
        INFO(test["id"]);
        const Exact bytes(from_hex(test["packet_hex"].get<std::string>()));
        const DecodedPacket decoded = decoder.decode(bytes.span());
        REQUIRE(decoded.verdict == DecodeVerdict::good);
        CHECK(decoded.apid == test["apid"]);
        CHECK(decoded.sequence_count == test["seq_count"]);
        std::uint64_t coarse_s = 0;
        std::uint64_t fine = 0;
        const ChannelTable& table = dictionary.tables[decoded.rows[0].table];
        for (const auto& field : test["fields"]) {
            const std::string name = field["name"];
            if (name == "coarse_time") coarse_s = field["value"];
            if (name == "fine_time") fine = field["value"];
            for (const Channel& channel : table.channels)
                if (channel.name == name) {
                    CHECK(decoded.rows[0].numbers[channel.place] == field["value"]);
                    ++checked;
                }
        }
        CHECK(decoded.has_time);
        CHECK(decoded.onboard_ticks_ns == coarse_s * 1'000'000'000 + (fine * 1'000'000'000 + 128) / 256);
        CHECK(decoded.rows[0].texts[0] == test["user_data_hex"]);
    }
    CHECK(checked == 3 * 5);
}

TEST_CASE("packets of 7 to 65,542 bytes pass the link and are read whole", "[decoder]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(R"({"vehicle":"v","version":"1","packets":[
        {"apid":0,"name":"a","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]},
        {"apid":1,"name":"b","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]},
        {"apid":17,"name":"c","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]},
        {"apid":100,"name":"d","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]},
        {"apid":2046,"name":"e","period_ms":0,"fields":[{"name":"data","type":"octets","octets":"to_end"}]}]})"));
    CHECK(dictionary.packet_bytes_max == kPacketBytesMax);
    Decoder decoder(dictionary);
    Deframer deframer(frame_bytes_max(dictionary.packet_bytes_max));
    int checked = 0;
    for (const auto& test : cases()["packets"]) {
        INFO(test["id"]);
        const Bytes bytes = filled(test);
        REQUIRE(bytes.size() == test["total_octets"]);
        CHECK(to_hex(std::span(bytes).last(std::min<std::size_t>(8, bytes.size()))) == test["last_8_octets_hex"]);
        int frames = 0;
        deframer.push(frame_of(bytes), [&](const Frame& frame) {
            ++frames;
            REQUIRE(frame.verdict == FrameVerdict::good);
            CHECK(to_hex(frame.packet) == to_hex(bytes));
            const DecodedPacket decoded = decoder.decode(Exact(frame.packet).span());
            const bool is_idle = test["apid"] == kIdleApid;
            const bool is_plain = test["type"] == 0 && test["seq_flags"] == 3;
            CHECK(decoded.verdict == (is_idle    ? DecodeVerdict::idle
                                      : is_plain ? DecodeVerdict::good
                                                 : DecodeVerdict::not_telemetry));
            if (is_plain && !is_idle)
                CHECK(decoded.rows[0].texts[0] == to_hex(std::span(bytes).subspan(kPrimaryHeaderBytes)));
            ++checked;
        });
        CHECK(frames == 1);
    }
    CHECK(checked == 15);
    CHECK(deframer.counts().bytes_in == deframer.counts().bytes_framed);
}
