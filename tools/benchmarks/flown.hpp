#pragma once
/// What the demo's radios deliver while its vehicle flies again and again.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <stdexcept>
#include <vector>

#include "server/pipeline/inputs.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::bench {

/// What a link delivers in one read.
struct Sent {
    std::int64_t t_ns; ///< from the beginning
    LinkId link;
    std::vector<std::byte> bytes;
};

/// A vehicle each link, seven seconds after the one before; 25 s on the rail, a flight, the same again, with losses.
inline std::vector<Sent> demo_bytes(LinkId links, double duration_s) {
    std::vector<Sent> all;
    auto scenario = sim::make_scenario("nominal", source("tools/demo/sanderling"), source("tools/demo/site.json"));
    if (!scenario) throw std::runtime_error(scenario.error().message);
    scenario->before_ignition_s = 25;
    scenario->disperse = true;
    scenario->impairment = *sim::impairment_from_name("mild");
    for (LinkId link = 0; link < links; ++link) {
        double begin_s = 7.0 * link;
        for (std::uint64_t seed = 1; begin_s < duration_s; ++seed) {
            const sim::FlightResult flight = sim::fly(*scenario, seed + 1000 * link);
            for (const sim::Delivery& delivery : flight.received.deliveries) {
                const double t_s = begin_s + delivery.t_end_s;
                if (t_s >= duration_s) break;
                const auto* first = reinterpret_cast<const std::byte*>(flight.received.bytes.data()) + delivery.offset;
                all.push_back({std::llround(t_s * 1e9), link, {first, first + delivery.size}});
            }
            begin_s += flight.truth.samples.back().t_s + scenario->before_ignition_s;
        }
    }
    std::ranges::stable_sort(all, {}, &Sent::t_ns);
    return all;
}

} // namespace turnstone::bench
