#pragma once
/// Sentences through deframer and decoder, and what rows they give, by name.
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "protocol/framing/line_deframer.hpp"
#include "protocol/nmea/nmea_decoder.hpp"
#include "protocol/nmea/nmea_dictionary.hpp"
#include "tests/protocol/bytes.hpp"

namespace turnstone::test {

struct NmeaRow {
    std::string table;
    std::map<std::string, double> numbers;
    std::map<std::string, std::string> texts;
    double time_offset_ms = 0;
};

struct NmeaResult {
    DecodeVerdict verdict;
    std::vector<NmeaRow> rows;
    bool has_time = false;
    std::uint64_t onboard_ticks_ns = 0;
    std::int64_t told_ns = -1;
};

/// Takes sentences one at a time.
class NmeaReader {
  public:
    explicit NmeaReader(std::optional<double> anemometer_deg = {})
        : NmeaReader(nlohmann::json::parse(nmea_dictionary_json("boat")), anemometer_deg) {}
    explicit NmeaReader(const nlohmann::json& dictionary, std::optional<double> anemometer_deg = {})
        : dictionary_(dictionary_of(dictionary)), decoder_(dictionary_, anemometer_deg) {}

    /// "GPGGA,...": from the address to before the checksum.
    NmeaResult operator()(const std::string& sentence) {
        const std::string text = "$" + sentence;
        const Exact bytes(std::as_bytes(std::span(text)));
        const DecodedPacket decoded = decoder_.decode(bytes.span());
        NmeaResult out{decoded.verdict, {}, decoded.has_time, decoded.onboard_ticks_ns, decoded.told_ns};
        for (const DecodedRow& row : decoded.rows) {
            const ChannelTable& table = dictionary_.tables[row.table];
            NmeaRow& to = out.rows.emplace_back();
            to.table = table.name;
            to.time_offset_ms = row.time_offset_ms;
            for (const Channel& channel : table.channels)
                if (channel.is_text())
                    to.texts[channel.name] = row.texts[channel.place - table.number_count];
                else
                    to.numbers[channel.name] = row.numbers[channel.place];
        }
        return out;
    }
    [[nodiscard]] const Dictionary& dictionary() const { return dictionary_; }

  private:
    Dictionary dictionary_;
    NmeaDecoder decoder_;
};

/// What stands between $ and *.
inline std::string inside(const std::string& sentence) {
    return sentence.substr(1, sentence.find('*') - 1);
}

/// A sentence alone is an epoch that is never given out: another before and after it makes it one.
inline NmeaRow fix_of(const std::string& sentence) {
    NmeaReader read;
    (void)read("GPGGA,000001.00,,,,,0,,,,,,,");
    (void)read("GPGGA,000002.00,,,,,0,,,,,,,");
    NmeaResult result = read(sentence);
    if (result.rows.empty()) result = read("GPGGA,010203.99,,,,,0,,,,,,,");
    REQUIRE_FALSE(result.rows.empty());
    return sentence.substr(2, 3) == "GGA" || sentence.substr(2, 3) == "GNS" ? result.rows.back() : result.rows.front();
}

} // namespace turnstone::test
