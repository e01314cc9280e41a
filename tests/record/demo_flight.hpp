#pragma once
/// A recording of the real pipeline, made from the demo vehicle's own packets.
#include <random>
#include <span>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/record/support.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/tree.hpp"

namespace turnstone::record_test {

inline std::string demo_text(const std::string& name) {
    return test::read_file(test::demo_path("sanderling") / name);
}

inline std::vector<VehicleSetup> vehicle_of(std::string dictionary, std::string vehicle) {
    std::vector<Problem> problems;
    auto setup = read_vehicle_texts(std::move(dictionary), std::move(vehicle), "test", problems);
    REQUIRE(setup);
    std::vector<VehicleSetup> vehicles;
    vehicles.push_back(std::move(*setup));
    return vehicles;
}

using test::demo_setup;

/// A frame of a packet of the demo dictionary with random user data.
inline void add_frame(std::vector<std::byte>& link, const Packet& packet, std::uint16_t count, std::uint32_t time_ms,
                      std::mt19937& random) {
    PrimaryHeader header;
    header.secondary_header_flag = true;
    header.apid = packet.apid;
    header.sequence_count = count;
    header.packet_data_length = static_cast<std::uint16_t>(4 + packet.user_data_bytes() - 1);
    const auto primary = encode_primary_header(header);
    std::vector<std::byte> plain(primary.begin(), primary.end());
    for (int shift = 24; shift >= 0; shift -= 8) plain.push_back(static_cast<std::byte>(time_ms >> shift));
    for (std::uint32_t i = 0; i < packet.user_data_bytes(); ++i)
        plain.push_back(static_cast<std::byte>(random() & 0xff));
    const std::uint16_t crc = crc16(plain);
    plain.push_back(static_cast<std::byte>(crc >> 8));
    plain.push_back(static_cast<std::byte>(crc & 0xff));
    std::vector<std::byte> stuffed(plain.size() + cobs_overhead_max(plain.size()));
    const auto result = cobs_encode(plain, stuffed);
    link.insert(link.end(), stuffed.begin(), stuffed.begin() + static_cast<std::ptrdiff_t>(result.produced));
    link.push_back(std::byte{0});
}

inline constexpr std::uint32_t kFlight_ms = 6'000;
inline constexpr std::size_t kFlightActions = kFlight_ms / 1000;

/// So much of every packet, with damaged bytes, chunks that fall anywhere, and an action in each second.
inline std::string record_flight(const TemporaryFolder& directory, const PipelineSetup& setup) {
    Pipeline pipeline(setup, kStart_ns);
    InputCounter counter(1, kStart_ns);
    Recorder recorder(recorder_settings(directory.path()), setup);
    std::string id = recorder.begin(
        pipeline.schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "flight", .continues = ""},
        kStart_ns);
    std::mt19937 random(9);
    std::vector<std::byte> waiting;
    std::vector<std::uint16_t> counts(setup.vehicles[0].dictionary.packets.size());
    for (std::uint32_t ms = 0; ms < kFlight_ms; ms += 10) {
        auto inputs = std::make_shared<Inputs>();
        auto batch = std::make_shared<Batch>();
        const std::int64_t t_ns = kStart_ns + std::int64_t{ms} * kMs + static_cast<std::int64_t>(random() % 3'000'000);
        for (std::size_t p = 0; p < counts.size(); ++p) {
            const Packet& packet = setup.vehicles[0].dictionary.packets[p];
            if (packet.period_ms > 0 && ms % static_cast<std::uint32_t>(packet.period_ms) == 0) {
                add_frame(waiting, packet, counts[p]++, 500 + ms, random);
                if (random() % 10 == 0) waiting[waiting.size() - 1 - random() % 10] ^= std::byte{0x41};
            }
        }
        if (random() % 3 == 0 && !waiting.empty()) {
            const std::size_t size = 1 + random() % waiting.size();
            counter.chunk(0, t_ns, t_ns + 5, std::span(waiting).first(size), *inputs);
            waiting.erase(waiting.begin(), waiting.begin() + static_cast<std::ptrdiff_t>(size));
        }
        if (ms % 1000 == 500) counter.action(t_ns, Marker{"look here"}, *inputs);
        pipeline.take(*inputs, *batch);
        pipeline.advance(t_ns, *batch);
        recorder.push(inputs);
        recorder.push(batch, pipeline.progress());
    }
    return id;
}

} // namespace turnstone::record_test
