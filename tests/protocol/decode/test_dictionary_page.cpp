// Every example of DICTIONARY.md decodes to what the page says.
#include <array>
#include <charconv>
#include <cmath>
#include <sstream>

#include <catch2/catch.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

std::string text_of(double number) {
    if (std::isnan(number)) return "none";
    std::array<char, 32> digits{};
    return {digits.data(), std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr};
}

std::string rows_of(const Dictionary& dictionary, const DecodedPacket& decoded) {
    if (decoded.verdict != DecodeVerdict::good) return "refused: " + std::string(word(decoded.verdict)) + "\n";
    std::string text;
    for (const DecodedRow& row : decoded.rows) {
        const ChannelTable& table = dictionary.tables[row.table];
        text += table.name + ":";
        for (const bool texts : {false, true})
            for (const Channel& channel : table.channels) {
                if (channel.is_text() != texts) continue;
                text += " " + channel.name + "=";
                if (texts)
                    text += "\"" + std::string(row.texts[channel.place - table.number_count]) + "\"";
                else
                    text += text_of(row.numbers[channel.place]);
            }
        text += "\n";
    }
    return text;
}

} // namespace

TEST_CASE("each example of DICTIONARY.md decodes to what the page says", "[decoder]") {
    const auto dictionaries = fenced_blocks("protocol/DICTIONARY.md", "json example");
    const auto packets = fenced_blocks("protocol/DICTIONARY.md", "decodes");
    REQUIRE(dictionaries.size() == packets.size());
    int checked = 0;
    for (std::size_t i = 0; i < dictionaries.size(); ++i) {
        INFO(dictionaries[i]);
        nlohmann::json json = nlohmann::json::parse(dictionaries[i]);
        json["vehicle"] = "v";
        json["version"] = "1";
        const Dictionary dictionary = dictionary_of(json);
        Decoder decoder(dictionary);
        std::istringstream lines(packets[i]);
        std::string hex;
        std::string expected;
        std::string line;
        const auto check = [&] {
            if (hex.empty()) return;
            INFO(hex);
            const Exact packet(from_hex(hex));
            CHECK(rows_of(dictionary, decoder.decode(packet.span())) == expected);
            for (std::size_t size = 0; size < packet.span().size(); ++size)
                (void)decoder.decode(Exact(packet.span().first(size)).span());
            ++checked;
            hex.clear();
            expected.clear();
        };
        while (std::getline(lines, line))
            if (line.empty())
                check();
            else if (hex.empty())
                hex = line;
            else
                expected += line + "\n";
        check();
    }
    CHECK(checked == 28);
}

TEST_CASE("the page's packets carry the time of the secondary header, of the user data, or none", "[decoder]") {
    nlohmann::json json = nlohmann::json::parse(fenced_blocks("protocol/DICTIONARY.md", "json example").back());
    json["vehicle"] = "v";
    json["version"] = "1";
    const Dictionary dictionary = dictionary_of(json);
    REQUIRE(dictionary.clocks.size() == 3);
    Decoder decoder(dictionary);
    std::istringstream lines(fenced_blocks("protocol/DICTIONARY.md", "decodes").back());
    const std::vector<std::pair<std::size_t, std::uint64_t>> expected = {
        {0, 1'465'986'618'500'000'000}, // seconds of GPS
        {0, 1'465'986'618'000'000'000},
        {1, 2'160'642'637'123'456'000}, // of TAI since 1958: cds_d16_us of time_codes.json
        {2, 10'500'000'000}};
    std::size_t k = 0;
    for (std::string line; std::getline(lines, line);) {
        if (line.empty() || line.find(':') != std::string::npos) continue;
        const DecodedPacket decoded = decoder.decode(from_hex(line));
        REQUIRE(decoded.verdict == DecodeVerdict::good);
        REQUIRE(k < expected.size());
        CHECK(decoded.has_time);
        CHECK(dictionary.packets[decoded.packet].time->clock == expected[k].first);
        CHECK(decoded.onboard_ticks_ns == expected[k].second);
        ++k;
    }
    CHECK(k == expected.size());
}
