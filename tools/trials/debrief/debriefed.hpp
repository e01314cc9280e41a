#pragma once
/// A simulated flight from bytes to what a debrief works on: its smoothed motion, its rows and its events, beside the
/// truth.
#include <algorithm>
#include <vector>

#include "server/debrief/performance/performance_record.hpp"
#include "shared/time.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/scorer.hpp"

namespace turnstone::trials {

struct Debriefed {
    sim::FlightResult flight;
    estimate::StepsLeft steps;
    std::vector<debrief::SmoothedSeries> smoothed;
    std::vector<estimate::SmoothedAttitude> attitude;
    debrief::PerformanceRecord record;
    std::int64_t liftoff_ns = 0; ///< 0: not found
    double late_s = 0;           ///< of the station's times behind the vehicle's

    /// The truth at a station time.
    [[nodiscard]] sim::TruthSample truth_at(std::int64_t t_ns) const {
        const auto& samples = flight.truth.samples;
        const double at = (seconds_between(kStart_ns, t_ns) - late_s - samples.front().t_s) / sim::kTruthStep_s;
        const double inside = std::clamp(at, 0.0, static_cast<double>(samples.size() - 2));
        const auto low = static_cast<std::size_t>(inside);
        const double part = inside - static_cast<double>(low);
        sim::TruthSample out = samples[low];
        out.position_enu_m += part * (samples[low + 1].position_enu_m - out.position_enu_m);
        out.velocity_enu_mps += part * (samples[low + 1].velocity_enu_mps - out.velocity_enu_mps);
        out.q_local_body = out.q_local_body.slerp(part, samples[low + 1].q_local_body);
        return out;
    }
};

[[nodiscard]] Debriefed debriefed(const sim::Scenario& scenario, std::uint64_t seed);

} // namespace turnstone::trials
