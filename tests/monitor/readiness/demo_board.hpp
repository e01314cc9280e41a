#pragma once
/// The demo vehicle with its readiness board and the procedure that the board asks for, and what its transmitter sends.
#include <span>

#include <catch2/catch.hpp>

#include "server/pipeline/setup.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "shared/time.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::test {

inline PipelineSetup demo_board() {
    std::vector<Problem> problems;
    const auto text = [](const char* name) { return read_file(demo_path("sanderling") / name); };
    auto vehicle = read_vehicle_texts(text("dictionary.json"), text("vehicle.json"), "sanderling", problems,
                                      {{"readiness.json", text("readiness.json")},
                                       {"procedures/separation-test.json", text("procedures/separation-test.json")}});
    INFO(to_string(problems));
    REQUIRE(vehicle);
    PipelineSetup setup;
    setup.vehicles.push_back(*std::move(vehicle));
    setup.site.pad = setup.site.station = {40, -118, 1200};
    setup.links.push_back({"radio", "", 0});
    return setup;
}

inline constexpr std::int64_t kBoardStart_ns = 1'790'000'000 * kNsPerS;

/// Everything that the radio delivered, into a pipeline that begins at kBoardStart_ns.
inline Batch receive(Pipeline& pipeline, const sim::FlightResult& flight) {
    Batch out;
    for (const sim::Delivery& each : flight.received.deliveries) {
        const std::int64_t t_ns = kBoardStart_ns + seconds_to_ns(each.t_end_s);
        pipeline.chunk(0, t_ns, t_ns, std::as_bytes(std::span(flight.received.bytes).subspan(each.offset, each.size)),
                       out);
    }
    return out;
}

} // namespace turnstone::test
