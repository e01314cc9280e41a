// A packet for the dictionaries with every kind of field: never an overread, always as many values as the tables say,
// text always valid, and numbers the same by vectors, by the plain way and by the walk from field to field.
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

Dictionary read(const char* file) {
    std::vector<Problem> problems;
    const auto json = parse_json_file(std::string(TURNSTONE_SOURCE_DIR "/tests/golden/dictionary/") + file, problems);
    require(json.has_value());
    Dictionary result = read_dictionary(*json, file, problems);
    require(problems.empty());
    return result;
}

bool is_text(std::string_view text) {
    try {
        (void)nlohmann::json(text).dump(); // an independent check of UTF-8
        return true;
    } catch (const nlohmann::json::type_error&) {
        return false;
    }
}

struct Rig {
    explicit Rig(const char* file) : dictionary(read(file)), decoder(dictionary), walks(walks_of(dictionary)) {}
    Dictionary dictionary;
    Decoder decoder;
    std::vector<PacketWalk> walks;
};

void check(Rig& rig, std::span<const std::byte> packet) {
    const Dictionary& dictionary = rig.dictionary;
    const DecodedPacket decoded = rig.decoder.decode(packet);
    require((decoded.verdict == DecodeVerdict::good) || decoded.rows.empty());
    for (const DecodedRow& row : decoded.rows) {
        const ChannelTable& table = dictionary.tables.at(row.table);
        require(table.packet == decoded.packet);
        require(row.numbers.size() == table.number_count && row.texts.size() == table.text_count);
        for (const double number : row.numbers) require(!std::isinf(number));
        for (const std::string_view text : row.texts) require(is_text(text));
    }
    if (decoded.verdict != DecodeVerdict::good) return;
    require(same_by_walk(rig.walks[decoded.packet], decoded, packet));
    const Packet& about = dictionary.packets[decoded.packet];
    if (about.body.groups.size() > 1 || !about.body.bits_fixed) return; // only the walk reads it
    const auto plain = plain_rows(dictionary, about, packet);
    require(decoded.rows.size() == plain.size());
    for (std::size_t k = 0; k < plain.size(); ++k) {
        require(decoded.rows[k].out_of_range == plain[k].out_of_range);
        require(same_bits(decoded.rows[k].numbers, plain[k].numbers));
    }
}

/// The bytes as they are, and as what follows the primary header of each packet type, so that the fields are reached:
/// as long as they are, and as long as the type is.
void check_all(Rig& rig, std::span<const std::byte> input) {
    check(rig, input);
    for (const Packet& packet : rig.dictionary.packets) {
        for (const std::size_t bytes : {std::size_t{packet.bytes_min}, std::max<std::size_t>(7, 6 + input.size())}) {
            const auto exact = std::make_unique<std::byte[]>(bytes);
            for (std::size_t i = 6; i < bytes && i - 6 < input.size(); ++i) exact[i] = input[i - 6];
            exact[0] = static_cast<std::byte>((packet.header_bytes > 0 ? 0x08U : 0U) | packet.apid >> 8U);
            exact[1] = static_cast<std::byte>(packet.apid & 0xFFU);
            exact[2] = std::byte{0xC0};
            exact[4] = static_cast<std::byte>((bytes - 7) >> 8U);
            exact[5] = static_cast<std::byte>((bytes - 7) & 0xFFU);
            check(rig, {exact.get(), bytes});
        }
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static Rig fixed("stress.json");
    static Rig varied("varied.json");
    const auto input = std::as_bytes(std::span(data, size));
    check_all(fixed, input);
    check_all(varied, input);
    return 0;
}
