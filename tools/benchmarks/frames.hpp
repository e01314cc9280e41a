#pragma once
/// Frames of the demo vehicle for benchmarks, with the first 16 bits of user data as a mark to find a packet again.
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/dictionary.hpp"
#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"
#include "tools/benchmarks/measure.hpp"

namespace turnstone::bench {

inline Dictionary demo_dictionary() {
    std::vector<Problem> problems;
    const auto json = parse_json_file(source("tools/demo/sanderling/dictionary.json"), problems);
    if (!json) throw std::runtime_error(to_string(problems));
    Dictionary dictionary = read_dictionary(*json, "dictionary.json", problems);
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return dictionary;
}

/// Appends one framed packet: seeded noise of a quiet pad, so many bytes are small, as in real telemetry.
class FrameMaker {
  public:
    FrameMaker(const Dictionary& dictionary, std::size_t packet)
        : packet_(&dictionary.packets.at(packet)), time_bytes_(packet_->header_bytes) {}

    void append(std::vector<std::byte>& link, std::uint32_t time_ms, std::uint16_t mark) {
        PrimaryHeader header;
        header.secondary_header_flag = true;
        header.apid = packet_->apid;
        header.sequence_count = sequence_count_;
        sequence_count_ = static_cast<std::uint16_t>((sequence_count_ + 1) % kSequenceModulus);
        header.packet_data_length = static_cast<std::uint16_t>(time_bytes_ + packet_->user_data_bytes() - 1);
        plain_.clear();
        for (const auto byte : encode_primary_header(header)) plain_.push_back(byte);
        for (int shift = 24; shift >= 0; shift -= 8) plain_.push_back(static_cast<std::byte>(time_ms >> shift));
        push16(mark);
        for (std::size_t byte = 2; byte < packet_->user_data_bytes(); byte += 2)
            push16(static_cast<std::uint16_t>(static_cast<std::int16_t>(noise_(random_))));
        plain_.resize(kPrimaryHeaderBytes + time_bytes_ + packet_->user_data_bytes());
        push16(crc16(plain_));
        stuffed_.resize(plain_.size() + cobs_overhead_max(plain_.size()));
        const auto result = cobs_encode(plain_, stuffed_);
        link.insert(link.end(), stuffed_.begin(), stuffed_.begin() + static_cast<std::ptrdiff_t>(result.produced));
        link.push_back(std::byte{0});
    }

  private:
    void push16(std::uint16_t value) {
        plain_.push_back(static_cast<std::byte>(value >> 8));
        plain_.push_back(static_cast<std::byte>(value));
    }

    const Packet* packet_;
    std::size_t time_bytes_;
    std::uint16_t sequence_count_ = 0;
    std::mt19937 random_{1};
    std::normal_distribution<double> noise_{0, 40};
    std::vector<std::byte> plain_, stuffed_;
};

} // namespace turnstone::bench
