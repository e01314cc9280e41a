// Lines of values: cut alike in any split, and whatever they hold, a row has the size of its table. The first byte
// seeds the split and chooses separator, decimal sign and checksum.
#include "protocol/lines/line_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "tests/fuzz/framings.hpp"

#include <nlohmann/json.hpp>

namespace {

using namespace turnstone;

const Dictionary& dictionary() {
    static const Dictionary made = [] {
        std::vector<Problem> problems;
        Dictionary read = read_dictionary(
            nlohmann::json::parse(line_dictionary_json("proto", {{"time_ms"}, {"alt_m"}, {"temp_c"}, {"state", true}})),
            "dictionary.json", problems);
        fuzz::demand(problems.empty());
        return read;
    }();
    return made;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    const auto bytes = std::as_bytes(std::span(data + 1, size - 1));
    TextFraming framing;
    framing.checksum = static_cast<LineChecksum>(data[0] % 3);
    framing.separator = ",;\t "[data[0] / 4 % 4];
    framing.decimal = data[0] >= 128 && framing.separator != ',' ? ',' : '.';
    fuzz::check(LineDeframer({.checksum = framing.checksum}), bytes, data[0]);
    FrameReader reader(framing, dictionary());
    reader.push(bytes, [](const Frame&, const DecodedPacket* packet) {
        if (packet == nullptr || packet->verdict != DecodeVerdict::good) return;
        fuzz::demand(packet->rows.size() == 1 && packet->rows[0].numbers.size() == 3 &&
                     packet->rows[0].texts.size() == 1);
    });
    // A file's first lines are read for their names before there is a dictionary.
    const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
    const std::size_t end = std::min(text.find('\n'), text.size());
    for (const LineColumn& column : columns_of_header(text.substr(0, end), text.substr(end), ',', '.'))
        fuzz::demand(!column.name.empty());
    return 0;
}
