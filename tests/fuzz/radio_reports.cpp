// Packet radio: frames are cut alike in any split, and whatever reports say, rows have the size of their tables, places
// lie on the earth and texts are UTF-8. The first byte seeds the split; its lowest bit says whether what follows is a
// link or the information of one frame, whose destination is the next six bytes.
#include <cmath>

#include "protocol/packet/ax25.hpp"
#include "protocol/packet_radio/radio_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "protocol/text/utf8.hpp"
#include "tests/fuzz/framings.hpp"

#include <nlohmann/json.hpp>

namespace {

using namespace turnstone;

constexpr const char* kStation = "N0CALL-11";

const Dictionary& dictionary() {
    static const Dictionary made = [] {
        std::vector<Problem> problems;
        Dictionary read =
            read_dictionary(nlohmann::json::parse(radio_dictionary_json("tracker")), "dictionary.json", problems);
        fuzz::demand(problems.empty());
        return read;
    }();
    return made;
}

void check_row(const DecodedRow& row) {
    const ChannelTable& table = dictionary().tables.at(row.table);
    fuzz::demand(row.numbers.size() == table.number_count && row.texts.size() == table.text_count);
    for (const Channel& channel : table.channels) {
        if (channel.is_text()) {
            const std::string_view text = row.texts[channel.place - table.number_count];
            std::vector<char> valid(3 * text.size() + 1);
            valid.resize(to_valid_utf8(std::as_bytes(std::span(text)), valid.data()));
            fuzz::demand(std::string_view(valid.data(), valid.size()) == text);
            continue;
        }
        const double value = row.numbers[channel.place];
        if (channel.name == "latitude") fuzz::demand(!(std::abs(value) > 90));
        if (channel.name == "longitude") fuzz::demand(!(std::abs(value) > 180));
        if (channel.name == "course" || channel.name == "wind_from") fuzz::demand(!(value < 0) && !(value >= 360.5));
        if (channel.name == "speed") fuzz::demand(!(value < 0) && !(value > 3000));
        fuzz::demand(!(std::abs(value) > 1e300));
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    std::vector<std::byte> link;
    EscapedFormat format;
    format.stuffing = Stuffing::kiss;
    format.ax25 = Ax25Head::kept;
    constexpr std::size_t kDestination = 6;
    if (data[0] % 2 == 0) {
        const auto bytes = std::as_bytes(std::span(data + 1, size - 1));
        link.assign(bytes.begin(), bytes.end());
    } else if (size > kDestination) {
        const std::string_view text(reinterpret_cast<const char*>(data) + 1, size - 1);
        const auto frame = encode_ax25_ui(text.substr(0, kDestination), kStation, {}, text.substr(kDestination));
        link = encode_escaped_frame(format, frame);
    }
    fuzz::check(EscapedDeframer(format), link, data[0]);
    FrameReader reader(RadioFraming{format, kStation}, dictionary());
    reader.push(link, [](const Frame&, const DecodedPacket* packet) {
        if (packet == nullptr) return;
        fuzz::demand((packet->verdict == DecodeVerdict::good) == !packet->rows.empty() && packet->rows.size() <= 3);
        for (const DecodedRow& row : packet->rows) check_row(row);
    });
    return 0;
}
