// XTCE documents of dictionaries: what goes out and comes back decodes the same bits to the same values. The element
// names, their order and defaults are those of XTCE 1.2 from memory; the reader is held against packets by hand in
// test_xtce_import.cpp. The schema itself is not in this tree, so that nothing here shows a document to be valid by it.
#include <catch2/catch.hpp>

#include <cmath>
#include <filesystem>
#include <map>
#include <random>
#include <set>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/xtce/export.hpp"
#include "protocol/xtce/import.hpp"
#include "tests/protocol/bytes.hpp"
#include "tests/protocol/xtce/random_dictionary.hpp"

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

/// What the writer said of channels: those that may be missing, or mean something else.
struct Said {
    std::set<std::string> changed, without_alerts; ///< "table.field"
    std::set<std::string> cut;                     ///< tables from which something on is left out
    explicit Said(const XtceExport& made) {
        const std::set<std::string> of_values{
            "field",      "time", "part_of",    "calibration by another field", "enumeration", "enumeration \"else\"",
            "terminator", "unit", "valid_range"};
        for (const NotWritten& each : made.not_written) {
            CHECK(!each.why.empty());
            if (of_values.contains(each.what)) changed.insert(each.where);
            if (each.what.starts_with("alert ")) without_alerts.insert(each.where);
            if (each.what == "group" || each.what == "packet" || each.what.starts_with("everything") ||
                each.what.starts_with("fields behind"))
                cut.insert(each.where);
        }
    }
    [[nodiscard]] bool is_cut(const std::string& table) const {
        return std::ranges::any_of(
            cut, [&](const std::string& at) { return table == at || table.starts_with(at + "."); });
    }
};

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

/// The channels that both have, by table. What one of them alone has must have been said.
std::map<std::string, std::set<std::string>> common_channels(const Dictionary& one, const Dictionary& other,
                                                             const Said& said) {
    std::map<std::string, std::set<std::string>> out;
    std::map<std::string, std::string> theirs;
    for (const ChannelTable& table : other.tables)
        for (const Channel& channel : table.channels)
            theirs[table.name + "." + channel.name] =
                meaning(channel, !said.without_alerts.contains(table.name + "." + channel.field->name));
    for (const ChannelTable& table : one.tables)
        for (const Channel& channel : table.channels) {
            const std::string field = table.name + "." + channel.field->name, name = table.name + "." + channel.name;
            const auto found = theirs.find(name);
            INFO(name);
            if (found == theirs.end()) {
                CHECK((said.changed.contains(field) || said.is_cut(table.name)));
                continue;
            }
            const std::string theirs_is = found->second;
            theirs.erase(found);
            if (said.changed.contains(field)) continue;
            CHECK(theirs_is == meaning(channel, !said.without_alerts.contains(field)));
            out[table.name].insert(channel.name);
        }
    for (const auto& [name, meaning_of_it] : theirs) {
        INFO(name); // the time of a secondary header has a channel only as a field
        CHECK(name.ends_with(".packet_time"));
    }
    return out;
}

/// Every row, as text by name.
std::vector<std::string> rows_of(const Dictionary& dictionary,
                                 const std::map<std::string, std::set<std::string>>& channels,
                                 std::span<const std::byte> bytes) {
    Decoder decoder(dictionary);
    const Exact exact(bytes);
    const DecodedPacket packet = decoder.decode(exact.span());
    std::vector<std::string> out{packet.verdict == DecodeVerdict::good ? "good" : "refused"};
    for (const DecodedRow& row : packet.rows) {
        const ChannelTable& table = dictionary.tables[row.table];
        const auto wanted = channels.find(table.name);
        if (wanted == channels.end()) continue;
        std::map<std::string, std::string> values;
        for (const Channel& channel : table.channels)
            if (wanted->second.contains(channel.name))
                values[channel.name] = channel.is_text() ? std::string(row.texts[channel.place - table.number_count])
                                                         : number(row.numbers[channel.place]);
        std::string text = table.name;
        for (const auto& [name, value] : values) text += " " + name + "=" + value;
        out.push_back(text);
    }
    return out;
}

/// Out and back; then random packets of each layout, and of what is a little longer, or of other flags. Returns how
/// many were good.
int expect_same(const Dictionary& dictionary, std::mt19937& random, int each) {
    const Returned back = there_and_back(dictionary);
    INFO(back.written.xml);
    INFO(said(back.written));
    CHECK(back.not_carried == "");
    CHECK(back.dictionary.vehicle == dictionary.vehicle);
    CHECK(back.dictionary.title == dictionary.title);
    CHECK(back.dictionary.version == dictionary.version);
    const Said said(back.written);
    const auto channels = common_channels(dictionary, back.dictionary, said);
    int good = 0;
    for (const Packet& packet : dictionary.packets) {
        INFO(packet.name);
        const bool is_one_missing = std::ranges::any_of(dictionary.packets, [&](const Packet& each_packet) {
            return each_packet.apid == packet.apid && said.cut.contains(each_packet.name);
        });
        const auto same = std::ranges::find(back.dictionary.packets, packet.name, &Packet::name);
        const bool is_cut = std::ranges::any_of(
            said.cut, [&](const std::string& at) { return at == packet.name || at.starts_with(packet.name + "."); });
        if (same == back.dictionary.packets.end()) {
            CHECK(said.cut.contains(packet.name));
            continue;
        }
        CHECK(same->description == packet.description);
        CHECK(same->period_ms == Approx(packet.period_ms).epsilon(1e-12));
        CHECK(same->bytes_min == packet.bytes_min);
        for (int k = 0; k < each; ++k) {
            const std::size_t size = packet.bytes_min + (packet.body.bits_fixed && k % 8 != 0 ? 0 : random() % 9);
            Bytes bytes = random_bytes(random, size, 40);
            const unsigned first = (packet.header_bytes > 0 ? 0x800U : 0U) | packet.apid;
            const auto length = static_cast<unsigned>(size - 7);
            const unsigned flags = k % 4 == 0 ? random() & 0xC0U : 0xC0U;
            const unsigned header[] = {first >> 8U, first & 0xFFU, flags, 0U, length >> 8U, length & 0xFFU};
            for (std::size_t at = 0; at < 6; ++at) bytes[at] = static_cast<std::byte>(header[at]);
            const auto expected = rows_of(dictionary, channels, bytes), got = rows_of(back.dictionary, channels, bytes);
            good += expected[0] == "good";
            if (expected[0] == "good" ? got[0] == "good" || !is_one_missing : !is_cut) CHECK(got == expected);
        }
    }
    return good;
}

} // namespace

TEST_CASE("vehicle folders of the demo go out as XTCE and come back with the same channels and values", "[xtce]") {
    std::mt19937 random(7);
    int vehicles = 0, good = 0;
    for (const auto& folder : std::filesystem::directory_iterator(demo_path())) {
        const auto path = folder.path() / "dictionary.json";
        if (!std::filesystem::exists(path)) continue;
        INFO(path);
        good += expect_same(dictionary_of(nlohmann::json::parse(read_file(path))), random, 60);
        ++vehicles;
    }
    CHECK(vehicles >= 4);
    CHECK(good > 200);
}

TEST_CASE("the examples of DICTIONARY.md go out as XTCE and come back, or it is said what does not", "[xtce]") {
    std::mt19937 random(11);
    int good = 0;
    for (const std::string& example : fenced_blocks("protocol/DICTIONARY.md", "json example")) {
        INFO(example);
        nlohmann::json json = nlohmann::json::parse(example);
        json["vehicle"] = "example-2";
        json["version"] = "4";
        json["title"] = "An example";
        std::vector<Problem> problems;
        const Dictionary dictionary = read_dictionary(json, "example", problems);
        if (!problems.empty() || export_xtce(dictionary).packets == 0) continue; // the examples are tested elsewhere
        good += expect_same(dictionary, random, 40);
    }
    CHECK(good > 100);
}

TEST_CASE("random dictionaries go out as XTCE and come back, or it is said what does not", "[xtce]") {
    int good = 0, whole = 0, some = 0;
    for (unsigned seed = 1; seed <= 300; ++seed) {
        std::mt19937 random(seed);
        const nlohmann::json json = RandomDictionary(random).make();
        INFO("seed " << seed << "\n" << json.dump(1));
        const Dictionary dictionary = dictionary_of(json);
        const XtceExport made = export_xtce(dictionary);
        if (made.packets == 0) continue;
        whole += Said(made).cut.empty();
        ++some;
        good += expect_same(dictionary, random, 12);
    }
    CHECK(some > 250);
    CHECK(whole > 150);
    CHECK(good > 1000);
}

TEST_CASE("a condition with alternatives is written where it belongs, and no condition stands in one of its kind",
          "[xtce]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(R"({"vehicle": "v", "version": "1",
        "secondary_header": {"fields": []}, "packets": [
        {"apid": 5, "name": "a", "period_ms": 0, "when": {"structure": [2, "16..31"], "unit": "1..3"}, "fields": [
          {"name": "structure", "type": "u8"}, {"name": "unit", "type": "u8"}, {"name": "bus", "type": "u8"}]}]})"));
    const std::string xml = export_xtce(dictionary).xml;
    CHECK_THAT(xml, Catch::Contains("<BooleanExpression>") && Catch::Contains("<ORedConditions>"));
    std::string flat;
    for (const char c : xml)
        if (c != ' ' && c != '\n') flat += c;
    CHECK_THAT(flat, !Catch::Contains("<ANDedConditions><ANDedConditions>") &&
                         !Catch::Contains("</ORedConditions></ORedConditions>"));
}

TEST_CASE("a size that the primary header tells, and groups in and behind groups, come back", "[xtce]") {
    const Returned back = there_and_back(dictionary_of(nlohmann::json::parse(R"({"vehicle": "v", "version": "1",
        "secondary_header": {"fields": []}, "packets": [{"apid": 5, "name": "a", "period_ms": 0, "fields": [
          {"name": "many", "type": "u8"},
          {"name": "outer", "count": {"field": "many"}, "fields": [
            {"name": "few", "type": "u8"}, {"name": "inner", "count": {"field": "few"}, "fields": [
              {"name": "x", "type": "u8"}]}]},
          {"name": "next", "when": {"many": [0, "2..255"]}, "fields": [{"name": "y", "type": "u8"}]}]},
        {"apid": 6, "name": "b", "period_ms": 0, "fields": [
          {"name": "data", "type": "octets", "octets": {"field": "packet_data_length", "plus": 1}}]}]})")));
    CHECK(said(back.written) == "");
    CHECK(back.not_carried == "");
    const std::map<std::string, std::set<std::string>> all{
        {"a", {"many"}}, {"a.outer", {"few"}}, {"a.outer.inner", {"x"}}, {"a.next", {"y"}}, {"b", {"data"}}};
    CHECK(rows_of(back.dictionary, all,
                  from_hex("0005C0000005"
                           "02"
                           "0107"
                           "00"
                           "2A")) == std::vector<std::string>{"refused"});
    CHECK(rows_of(back.dictionary, all,
                  from_hex("0005C0000004"
                           "02"
                           "0107"
                           "00"
                           "2A")) == std::vector<std::string>{"good", "a many=2", "a.outer few=1", "a.outer.inner x=7",
                                                              "a.outer few=0", "a.next y=42"});
    CHECK(rows_of(back.dictionary, all, from_hex("0006C0000001ABCD")) ==
          std::vector<std::string>{"good", "b data=ABCD"});
}
