#pragma once
/// A simulated flight in a recording, and what its flight computer logged: every packet that it sent.
#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/debrief/advance.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/write/recording_file.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/scenario.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::exchange_test {

inline constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;

/// Work that nobody stops.
inline const debrief::Advance kGoOn = [](double) { return true; };

using test::demo_setup;

struct Flown {
    std::filesystem::path recording;
    std::vector<std::byte> received = {}; ///< by the radio
    std::vector<std::byte> logged = {};
    std::size_t packets_logged = 0, packets_received = 0;
};

/// The first `seconds` of a flight with a few losses, and a silence of the radio if one is asked for.
inline Flown fly(const std::filesystem::path& folder, double seconds, double silent_from_s = 0,
                 double silent_until_s = 0) {
    sim::Scenario scenario = test::demo_scenario("nominal");
    scenario.before_ignition_s = 6;
    scenario.impairment = *sim::impairment_from_name("mild");
    scenario.impairment.silent_from_s = silent_from_s;
    scenario.impairment.silent_until_s = silent_until_s;
    const sim::FlightResult flight = sim::fly(scenario, 4711);

    const PipelineSetup setup = demo_setup();
    Pipeline pipeline(setup, kStart_ns);
    pipeline.fly_one_prediction_in(20);
    Flown out{.recording = folder / "flown.sqlite"};
    create_recording(out.recording, texts_of(setup), pipeline.schema(),
                     {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "Flown", .continues = ""}, false);
    {
        RecordingFile file(out.recording, pipeline.schema(), false);
        InputCounter counter(1, kStart_ns);
        Batch batch;
        std::set<std::size_t> heard; // some come twice
        for (const sim::Delivery& delivery : flight.received.deliveries) {
            if (delivery.t_end_s > seconds) break;
            const auto bytes = std::as_bytes(std::span(flight.received.bytes)).subspan(delivery.offset, delivery.size);
            out.received.insert(out.received.end(), bytes.begin(), bytes.end());
            if (flight.received.fates[delivery.packet].intact_copies > 0) heard.insert(delivery.packet);
            const std::int64_t t_ns = kStart_ns + std::llround(delivery.t_end_s * 1e9);
            Inputs inputs;
            counter.chunk(0, t_ns, t_ns, bytes, inputs);
            batch.clear();
            pipeline.take(inputs, batch);
            file.append(inputs);
            file.append(batch, pipeline.progress());
        }
        file.close("clean");
        out.packets_received = heard.size();
    }
    REQUIRE(make_single_file(out.recording));
    for (const sim::SentPacket& packet : flight.sent.packets) {
        if (packet.t_end_s > seconds) break;
        const auto bytes = std::as_bytes(std::span(flight.sent.bytes)).subspan(packet.offset, packet.size);
        out.logged.insert(out.logged.end(), bytes.begin(), bytes.end());
        ++out.packets_logged;
    }
    return out;
}

/// One flight for all tests that only read it.
inline const Flown& flown() {
    static const test::TemporaryFolder folder;
    static const Flown once = fly(folder.path(), 24);
    return once;
}

/// What a program prints; it must end well.
inline std::string output_of(const std::string& command) {
    std::FILE* pipe = popen(command.c_str(), "r"); // NOLINT(cert-env33-c): names of this test's own files
    REQUIRE(pipe != nullptr);
    std::string out;
    std::array<char, 4096> piece{};
    for (std::size_t size = 0; (size = std::fread(piece.data(), 1, piece.size(), pipe)) > 0;)
        out.append(piece.data(), size);
    INFO(command);
    REQUIRE(pclose(pipe) == 0);
    return out;
}

} // namespace turnstone::exchange_test
