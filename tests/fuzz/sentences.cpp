// NMEA 0183: sentences are cut alike in any split, and whatever they say, rows have the size of their tables. The first
// byte seeds the split and chooses the policy.
#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "tests/fuzz/framings.hpp"

#include <nlohmann/json.hpp>

namespace {

using namespace turnstone;

const Dictionary& dictionary() {
    static const Dictionary made = [] {
        nlohmann::json json = nlohmann::json::parse(nmea_dictionary_json("boat"));
        auto& transducers = json.at("packets").at(6).at("fields");
        for (const char* name : {"coolant", "oil_pressure", "battery_0"}) {
            const nlohmann::json field{{"name", name}, {"type", "f64"}}; // in place, braces would mean a range
            transducers.insert(transducers.begin(), field);
        }
        std::vector<Problem> problems;
        Dictionary read = read_dictionary(json, "dictionary.json", problems);
        fuzz::demand(problems.empty());
        return read;
    }();
    return made;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    const auto bytes = std::as_bytes(std::span(data + 1, size - 1));
    const bool required = data[0] % 2 == 0;
    fuzz::check(LineDeframer(sentence_rules(required)), bytes, data[0]);
    FrameReader reader(NmeaFraming{required, 12.0}, dictionary());
    reader.push(bytes, [](const Frame&, const DecodedPacket* packet) {
        if (packet == nullptr) return;
        fuzz::demand((packet->verdict == DecodeVerdict::good) == !packet->rows.empty());
        for (const DecodedRow& row : packet->rows) {
            const ChannelTable& table = dictionary().tables.at(row.table);
            fuzz::demand(row.numbers.size() == table.number_count && row.texts.size() == table.text_count);
            for (const double value : row.numbers) fuzz::demand(!(value > 1e300) && !(value < -1e300));
        }
    });
    return 0;
}
