#pragma once
/// Flights of the demo's airframe with fins that steer, from the simulator's bytes through the pipeline to a recording,
/// until shortly after apogee.
#include <filesystem>
#include <string>

#include "server/debrief/recordings.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::trials {

[[nodiscard]] sim::Scenario steered_scenario(const std::string& errors);

struct SteeredFlight {
    sim::FlightSetup setup; ///< the truth
    sim::Truth truth;
    debrief::Recordings recordings;
    std::string id;
};

/// Into `folder`, which should be empty. `vehicle_json`: the demo's file when empty.
[[nodiscard]] SteeredFlight record_steered(const std::filesystem::path& folder, const sim::Scenario& scenario,
                                           std::uint64_t seed, std::string vehicle_json = {});

/// What the simulator's airframe amounts to at a reference that the answer names.
struct TrueDynamics {
    double lp_per_s, ld_per_s2, natural_hz, damping, fin_effect_per_s2;

    TrueDynamics(const SteeredFlight& flight, double q_pa, double speed_mps);
};

} // namespace turnstone::trials
