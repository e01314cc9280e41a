// A dictionary file: whatever it says, reading ends with problems or with a dictionary that decoder and firmware
// generator can use.
#include <cstdint>
#include <cstdlib>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/firmware/generate.hpp"
#include "protocol/packet/space_packet.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    std::vector<Problem> problems;
    const auto json = parse_json_text({reinterpret_cast<const char*>(data), size}, "dictionary.json", problems);
    if (!json) return 0;
    const Dictionary dictionary = read_dictionary(*json, "dictionary.json", problems);
    if (!problems.empty()) {
        if (to_string(problems).empty()) std::abort();
        return 0;
    }
    Decoder decoder(dictionary);
    for (const Packet& packet : dictionary.packets) {
        const std::size_t bytes = packet.bytes_min;
        if (bytes > kPacketBytesMax || packet.bytes_max > dictionary.packet_bytes_max) std::abort();
        std::vector<std::byte> zeros(bytes);
        zeros[0] = static_cast<std::byte>((packet.header_bytes > 0 ? 0x08U : 0U) | packet.apid >> 8U);
        zeros[1] = static_cast<std::byte>(packet.apid & 0xFFU);
        zeros[2] = std::byte{0xC0};
        zeros[4] = static_cast<std::byte>((bytes - 7) >> 8U);
        zeros[5] = static_cast<std::byte>((bytes - 7) & 0xFFU);
        const DecodedPacket decoded = decoder.decode(zeros);
        const bool is_alone = packet.when.empty() && packet.body.bits_fixed && !packet.may_have_more;
        if (is_alone && decoded.verdict != DecodeVerdict::good) std::abort();
    }
    if (firmware_obstacles(dictionary).empty() && generate_firmware_header(dictionary).empty()) std::abort();
    return 0;
}
