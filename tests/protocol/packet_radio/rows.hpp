#pragma once
/// Packet radio reports through the decoder, and what rows they give, by name.
#include <map>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "protocol/packet/ax25.hpp"
#include "protocol/packet_radio/radio_dictionary.hpp"
#include "protocol/packet_radio/report_decoder.hpp"
#include "tests/protocol/bytes.hpp"

namespace turnstone::test {

struct RadioRow {
    DecodeVerdict verdict = DecodeVerdict::unused;
    std::string table; ///< empty: no row
    std::map<std::string, double> numbers;
    std::map<std::string, std::string> texts;
    Bytes said;
    bool is_repeated = false;
    std::vector<RadioRow> more = {}; ///< that the frame gives beside it
    double operator[](const std::string& name) const { return numbers.at(name); }
};

class RadioReader {
  public:
    explicit RadioReader(const std::string& station)
        : RadioReader(nlohmann::json::parse(radio_dictionary_json("tracker")), station) {}
    RadioReader(const nlohmann::json& dictionary, const std::string& station)
        : dictionary_(dictionary_of(dictionary)), decoder_(dictionary_, station) {}

    RadioRow frame(const Bytes& bytes) {
        const Exact exact(bytes);
        const DecodedPacket decoded = decoder_.decode(exact.span());
        RadioRow out;
        out.verdict = decoded.verdict;
        out.said.assign(decoded.said.begin(), decoded.said.end());
        out.is_repeated = decoded.is_repeated;
        if (decoded.verdict != DecodeVerdict::good) return out;
        fill(out, decoded.rows.front());
        for (const DecodedRow& row : decoded.rows.subspan(1)) fill(out.more.emplace_back(), row);
        return out;
    }
    RadioRow operator()(const std::string& source, const std::string& information,
                        const std::string& destination = "APZRKT", const std::vector<std::string>& path = {}) {
        return frame(encode_ax25_ui(destination, source, path, information));
    }
    [[nodiscard]] const Dictionary& dictionary() const { return dictionary_; }

  private:
    void fill(RadioRow& out, const DecodedRow& row) const {
        const ChannelTable& table = dictionary_.tables[row.table];
        out.table = table.name;
        for (const Channel& channel : table.channels)
            if (channel.is_text())
                out.texts[channel.name] = row.texts[channel.place - table.number_count];
            else
                out.numbers[channel.name] = row.numbers[channel.place];
    }

    Dictionary dictionary_;
    ReportDecoder decoder_;
};

} // namespace turnstone::test
