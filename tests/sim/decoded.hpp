#pragma once
/// The delivered bytes as the ground decodes them: through the real deframer, dictionary and decoder.
#include <map>
#include <span>
#include <string>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/framing/deframer.hpp"
#include "tests/sim/support.hpp"

namespace turnstone::sim {

struct DecodedRowCopy {
    double onboard_s;
    std::uint16_t sequence_count;
    std::map<std::string, double> numbers;
};

struct DecodedStream {
    std::map<std::string, std::vector<DecodedRowCopy>> tables;
    std::vector<std::pair<std::uint16_t, std::uint16_t>> packets; ///< apid and sequence count, good ones, in order
    std::uint64_t frames_bad = 0;
    std::uint64_t rows_out_of_range = 0;
};

inline Dictionary demo_dictionary() {
    std::vector<Problem> problems;
    Dictionary dictionary =
        read_dictionary(read_json(demo_path("sanderling/dictionary.json")), "dictionary.json", problems);
    REQUIRE(problems.empty());
    return dictionary;
}

inline DecodedStream decode(const FlightResult& flight, const Dictionary& dictionary = demo_dictionary()) {
    Decoder decoder(dictionary);
    Deframer deframer;
    DecodedStream out;
    for (const Delivery& delivery : flight.received.deliveries) {
        const auto bytes = std::as_bytes(std::span(&flight.received.bytes[delivery.offset], delivery.size));
        deframer.push(bytes, [&](const Frame& frame) {
            if (frame.verdict != FrameVerdict::good) return;
            const DecodedPacket packet = decoder.decode(frame.packet);
            if (packet.verdict != DecodeVerdict::good) return;
            out.packets.emplace_back(packet.apid, packet.sequence_count);
            for (const DecodedRow& row : packet.rows) {
                const ChannelTable& table = dictionary.tables[row.table];
                DecodedRowCopy copy{static_cast<double>(packet.onboard_ticks_ns) * 1e-9 + row.time_offset_ms * 1e-3,
                                    packet.sequence_count,
                                    {}};
                for (const Channel& channel : table.channels)
                    if (!channel.is_text()) copy.numbers[channel.name] = row.numbers[channel.place];
                out.rows_out_of_range += row.out_of_range != 0 ? 1U : 0U;
                out.tables[table.name].push_back(std::move(copy));
            }
        });
    }
    out.frames_bad = deframer.counts().frames_bad;
    return out;
}

} // namespace turnstone::sim
