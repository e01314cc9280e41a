#pragma once
/// Bytes for protocol tests: exact-size copies (an overread of one byte faults under ASan), framing and
/// an independent bit packer.
#include <cstddef>
#include <cstdint>
#include <memory>
#include <random>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"
#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/reference.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {

using namespace test;

using Bytes = std::vector<std::byte>;

/// A heap block of exactly the size of the bytes.
class Exact {
  public:
    explicit Exact(std::span<const std::byte> bytes) : size_(bytes.size()), block_(new std::byte[bytes.size()]) {
        std::copy(bytes.begin(), bytes.end(), block_.get());
    }
    [[nodiscard]] std::span<std::byte> span() const { return {block_.get(), size_}; }

  private:
    std::size_t size_;
    std::unique_ptr<std::byte[]> block_;
};

inline Bytes random_bytes(std::mt19937& random, std::size_t size, unsigned zero_percent) {
    Bytes bytes(size);
    for (std::byte& byte : bytes)
        byte = random() % 100 < zero_percent ? std::byte{0} : static_cast<std::byte>(1 + random() % 255);
    return bytes;
}

/// Packet, CRC, COBS, delimiter.
inline Bytes frame_of(std::span<const std::byte> packet) {
    Bytes plain(packet.begin(), packet.end());
    const std::uint16_t crc = crc16_plain(packet);
    plain.push_back(static_cast<std::byte>(crc >> 8U));
    plain.push_back(static_cast<std::byte>(crc & 0xFFU));
    Bytes frame(plain.size() + cobs_overhead_max(plain.size()));
    frame.resize(cobs_encode(plain, frame).produced);
    frame.push_back(std::byte{0});
    return frame;
}

/// A packet with a 32-bit millisecond time, header by hand.
inline Bytes packet_of(unsigned apid, unsigned sequence_count, std::uint32_t time_ms,
                       std::span<const std::byte> user_data) {
    const std::size_t length_field = 4 + user_data.size() - 1;
    Bytes packet;
    for (const unsigned byte : {0x08U | apid >> 8U, apid, 0xC0U | (sequence_count >> 8U & 0x3FU), sequence_count,
                                static_cast<unsigned>(length_field >> 8U), static_cast<unsigned>(length_field),
                                time_ms >> 24U, time_ms >> 16U, time_ms >> 8U, time_ms})
        packet.push_back(static_cast<std::byte>(byte & 0xFFU));
    packet.insert(packet.end(), user_data.begin(), user_data.end());
    return packet;
}

/// A packet whose secondary header is zeros, primary header by hand.
inline Bytes packet_of(const Packet& about, std::span<const std::byte> user_data) {
    const std::size_t length_field = about.header_bytes + user_data.size() - 1;
    Bytes packet;
    for (const unsigned byte :
         {(about.header_bytes > 0 ? 0x08U : 0U) | unsigned{about.apid} >> 8U, unsigned{about.apid}, 0xC0U, 0U,
          static_cast<unsigned>(length_field >> 8U), static_cast<unsigned>(length_field)})
        packet.push_back(static_cast<std::byte>(byte & 0xFFU));
    packet.resize(packet.size() + about.header_bytes);
    packet.insert(packet.end(), user_data.begin(), user_data.end());
    return packet;
}

/// Sets bit by bit, most significant first.
inline void put_bits(Bytes& bytes, std::size_t bit_offset, unsigned width, std::uint64_t value) {
    for (unsigned i = 0; i < width; ++i) {
        const std::size_t bit = bit_offset + i;
        if (bytes.size() <= bit / 8) bytes.resize(bit / 8 + 1);
        if ((value >> (width - 1 - i) & 1U) != 0) bytes[bit / 8] |= static_cast<std::byte>(0x80U >> bit % 8);
    }
}

/// A dictionary that must have no mistakes.
inline Dictionary dictionary_of(const nlohmann::json& json) {
    std::vector<Problem> problems;
    Dictionary dictionary = read_dictionary(json, "dictionary", problems);
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return dictionary;
}

/// The first fenced block of LINK.md by its info string.
inline std::string link_example(const std::string& info) {
    return fenced_blocks("protocol/LINK.md", info).front();
}

} // namespace turnstone
