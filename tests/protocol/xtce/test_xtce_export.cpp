// XTCE documents of dictionaries: what goes out and comes back decodes the same bits to the same values. The element
// names, their order and defaults are those of XTCE 1.2 from memory; the reader is held against packets by hand in
// test_xtce_import.cpp. The schema itself is not in this tree.
#include <catch2/catch.hpp>

#include <cmath>
#include <filesystem>
#include <random>
#include <set>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/xtce/export.hpp"
#include "protocol/xtce/import.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::string said(const XtceExport& made) {
    std::string out;
    for (const NotWritten& each : made.not_written) out += each.where + ": " + each.what + ": " + each.why + "\n";
    return out;
}

/// What the reader did not carry of a document that the writer wrote.
struct Returned {
    XtceExport written;
    std::string not_carried;
    Dictionary dictionary;
};

Returned there_and_back(const Dictionary& dictionary) {
    Returned out{.written = export_xtce(dictionary), .not_carried = {}, .dictionary = {}};
    std::vector<Problem> problems;
    const auto read = import_xtce(out.written.xml, "written.xml", problems);
    INFO(out.written.xml);
    INFO(to_string(problems));
    REQUIRE(read);
    for (const NotCarried& each : read->not_carried) out.not_carried += each.what + ": " + each.why + "\n";
    out.dictionary = dictionary_of(nlohmann::json::parse(read->dictionary));
    return out;
}

std::string number(double value) {
    char text[40] = "none";
    if (!std::isnan(value)) std::snprintf(text, sizeof text, "%.17g", value);
    return text;
}

/// What the writer said that it leaves out: names of channels whose field, and of those whose alerts.
struct LeftOut {
    std::set<std::string> fields, alerts;
    explicit LeftOut(const XtceExport& made) {
        for (const NotWritten& each : made.not_written) {
            if (each.what == "field" || each.what == "time") fields.insert(each.where);
            if (each.what.starts_with("alert ")) alerts.insert(each.where);
        }
    }
    [[nodiscard]] bool has(const std::string& table, const Channel& channel) const {
        return fields.contains(table + "." + channel.field->name);
    }
};

/// Every row of a packet, as text by name; a time's own channel and padding are not in every dictionary.
std::vector<std::string> rows_of(const Dictionary& dictionary, const LeftOut& left_out,
                                 std::span<const std::byte> bytes) {
    Decoder decoder(dictionary);
    const Exact exact(bytes);
    const DecodedPacket packet = decoder.decode(exact.span());
    std::vector<std::string> out{packet.verdict == DecodeVerdict::good ? "good" : "refused"};
    for (const DecodedRow& row : packet.rows) {
        const ChannelTable& table = dictionary.tables[row.table];
        std::map<std::string, std::string> values;
        for (const Channel& channel : table.channels)
            if (channel.name != "packet_time" && !channel.name.starts_with("padding_") &&
                !left_out.has(table.name, channel))
                values[channel.name] = channel.is_text() ? std::string(row.texts[channel.place - table.number_count])
                                                         : number(row.numbers[channel.place]);
        if (values.empty()) continue;
        std::string text = table.name;
        for (const auto& [name, value] : values) text += " " + name + "=" + value;
        out.push_back(text);
    }
    return out;
}

/// What a channel means, beside where its bits are.
std::string meaning(const Channel& channel, bool with_alerts) {
    const Field& field = *channel.field;
    std::string out = channel.name + " [" + field.unit + "] " + field.description;
    for (const auto& [raw, text] : field.enumeration) out += " " + std::to_string(raw) + "=" + text;
    if (field.valid_range) out += " " + number(field.valid_range->first) + ".." + number(field.valid_range->second);
    if (!with_alerts) return out;
    for (const ChannelAlert& alert : field.alerts)
        for (const auto& limit : alert.limits)
            out += " " + std::string(word(alert.cause)) + " " + (limit ? number(*limit) : "-");
    return out;
}

std::vector<std::string> meanings(const Dictionary& dictionary, const LeftOut& left_out) {
    std::vector<std::string> out;
    for (const ChannelTable& table : dictionary.tables)
        for (const Channel& channel : table.channels)
            if (channel.name != "packet_time" && !channel.name.starts_with("padding_") &&
                !left_out.has(table.name, channel))
                out.push_back(table.name + "." +
                              meaning(channel, !left_out.alerts.contains(table.name + "." + channel.field->name)));
    std::ranges::sort(out);
    return out;
}

/// Random packets of each layout, and of what is a little longer and shorter.
void expect_same_values(const Dictionary& one, const Dictionary& other, const LeftOut& left_out, std::mt19937& random,
                        int each, int& good) {
    for (const Packet& packet : one.packets)
        for (int k = 0; k < each; ++k) {
            const std::size_t size = packet.bytes_min + (packet.body.bits_fixed && k % 8 != 0 ? 0 : random() % 6);
            Bytes bytes = random_bytes(random, size, 40);
            const unsigned first = (packet.header_bytes > 0 ? 0x800U : 0U) | packet.apid;
            const auto length = static_cast<unsigned>(size - 7);
            const unsigned header[] = {first >> 8U, first & 0xFFU, 0xC0U, 0U, length >> 8U, length & 0xFFU};
            for (std::size_t at = 0; at < 6; ++at) bytes[at] = static_cast<std::byte>(header[at]);
            const auto expected = rows_of(one, left_out, bytes);
            good += expected[0] == "good";
            CHECK(rows_of(other, left_out, bytes) == expected);
        }
}

} // namespace

TEST_CASE("vehicle folders of the demo go out as XTCE and come back with the same channels and values", "[xtce]") {
    std::mt19937 random(7);
    int vehicles = 0, good = 0;
    for (const auto& folder : std::filesystem::directory_iterator(demo_path())) {
        const auto path = folder.path() / "dictionary.json";
        if (!std::filesystem::exists(path)) continue;
        INFO(path);
        const Dictionary dictionary = dictionary_of(nlohmann::json::parse(read_file(path)));
        if (dictionary.packets.empty()) continue;
        const Returned back = there_and_back(dictionary);
        INFO(said(back.written));
        CHECK(back.not_carried.empty());
        CHECK(back.dictionary.vehicle == dictionary.vehicle);
        CHECK(back.dictionary.version == dictionary.version);
        const LeftOut left_out(back.written);
        CHECK(meanings(back.dictionary, left_out) == meanings(dictionary, left_out));
        for (const Packet& packet : dictionary.packets) {
            const auto same = std::ranges::find(back.dictionary.packets, packet.name, &Packet::name);
            REQUIRE(same != back.dictionary.packets.end());
            CHECK(same->description == packet.description);
            CHECK(same->period_ms == Approx(packet.period_ms).epsilon(1e-12));
            CHECK(same->bytes_min == packet.bytes_min);
        }
        expect_same_values(dictionary, back.dictionary, left_out, random, 60, good);
        ++vehicles;
    }
    CHECK(vehicles >= 4);
    CHECK(good > 200);
}
