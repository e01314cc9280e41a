// A packet for the dictionary with every kind of field: never an overread, always as many values as the tables say,
// text always valid, and numbers the same by vectors and by the plain way.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <memory>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "tests/protocol/plain_rows.hpp"

namespace {

using namespace turnstone;

void require(bool condition) {
    if (!condition) std::abort();
}

const Dictionary& dictionary() {
    static const Dictionary read = [] {
        std::vector<Problem> problems;
        const auto json = parse_json_file(TURNSTONE_SOURCE_DIR "/tests/golden/dictionary/stress.json", problems);
        require(json.has_value());
        Dictionary result = read_dictionary(*json, "stress.json", problems);
        require(problems.empty());
        return result;
    }();
    return read;
}

bool is_text(std::string_view text) {
    try {
        (void)nlohmann::json(text).dump(); // an independent check of UTF-8
        return true;
    } catch (const nlohmann::json::type_error&) {
        return false;
    }
}

void check(Decoder& decoder, std::span<const std::byte> packet) {
    const DecodedPacket decoded = decoder.decode(packet);
    require((decoded.verdict == DecodeVerdict::good) == !decoded.rows.empty());
    for (const DecodedRow& row : decoded.rows) {
        const ChannelTable& table = dictionary().tables.at(row.table);
        require(table.packet == decoded.packet);
        require(row.numbers.size() == table.number_count && row.texts.size() == table.text_count);
        for (const double number : row.numbers) require(!std::isinf(number));
        for (const std::string_view text : row.texts) require(is_text(text));
    }
    if (decoded.verdict != DecodeVerdict::good) return;
    const auto plain = plain_rows(dictionary(), dictionary().packets[decoded.packet], packet);
    require(decoded.rows.size() == plain.size());
    for (std::size_t k = 0; k < plain.size(); ++k) {
        require(decoded.rows[k].out_of_range == plain[k].out_of_range);
        require(same_bits(decoded.rows[k].numbers, plain[k].numbers));
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static Decoder decoder(dictionary());
    check(decoder, std::as_bytes(std::span(data, size)));
    // The same bytes as the user data of each packet type, so that the fields are reached.
    for (const Packet& packet : dictionary().packets) {
        const std::size_t bytes = 6 + dictionary().time.bytes() + packet.user_data_bytes;
        const auto exact = std::make_unique<std::byte[]>(bytes);
        for (std::size_t i = 6; i < bytes && i - 6 < size; ++i) exact[i] = static_cast<std::byte>(data[i - 6]);
        exact[0] = static_cast<std::byte>(0x08U | packet.apid >> 8U);
        exact[1] = static_cast<std::byte>(packet.apid & 0xFFU);
        exact[2] = std::byte{0xC0};
        exact[4] = static_cast<std::byte>((bytes - 7) >> 8U);
        exact[5] = static_cast<std::byte>((bytes - 7) & 0xFFU);
        check(decoder, {exact.get(), bytes});
    }
    return 0;
}
