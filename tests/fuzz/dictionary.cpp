// A dictionary file: whatever it says, reading ends with problems or with a dictionary that decoder and firmware
// generator can use.
#include <cstdint>
#include <cstdlib>

#include <nlohmann/json.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/firmware/generate.hpp"
#include "protocol/framing/deframer.hpp"

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
        const std::size_t bytes = 6 + dictionary.time.bytes() + packet.user_data_bytes;
        if (bytes + 2 > kFrameBytesMax) std::abort();
        std::vector<std::byte> zeros(bytes);
        zeros[0] = static_cast<std::byte>(0x08U | packet.apid >> 8U);
        zeros[1] = static_cast<std::byte>(packet.apid & 0xFFU);
        zeros[2] = std::byte{0xC0};
        zeros[4] = static_cast<std::byte>((bytes - 7) >> 8U);
        zeros[5] = static_cast<std::byte>((bytes - 7) & 0xFFU);
        if (decoder.decode(zeros).verdict != DecodeVerdict::good) std::abort();
    }
    if (generate_firmware_header(dictionary).empty()) std::abort();
    return 0;
}
