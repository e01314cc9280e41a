#pragma once
/// What to simulate: a vehicle, a site, a course of events, and the scatter of a seeded flight.
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"
#include "tools/sim/radio/impairment.hpp"
#include "tools/sim/truth/airframe.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

struct Scenario {
    std::string name;
    std::string summary;
    Vehicle vehicle; ///< data only: the simulator uses none of its functions
    Site site;
    Airframe airframe;
    RunKind kind = RunKind::flight;
    double before_ignition_s = 20.0;
    double after_touchdown_s = 15.0;
    bool leaves_rail = true;
    bool disperse = false; ///< draw the flight's true values around the vehicle file's
    double drogue_late_s = 0.0;
    bool charges_fire = true;
    bool reboots_at_ejection = false;
    bool gnss_lost_at_liftoff = false;
    bool barometer_fails_at_ejection = false;
    Impairment impairment;
};

struct ScenarioName {
    std::string_view name;
    std::string_view summary;
};
[[nodiscard]] std::vector<ScenarioName> scenario_names();

/// Reads vehicle.json and airframe.json in `vehicle_dir` and the site file, and sets up the named course of
/// events.
[[nodiscard]] Result<Scenario> make_scenario(std::string_view name, const std::filesystem::path& vehicle_dir,
                                             const std::filesystem::path& site_file);

/// The true values of one flight. The same scenario and seed give the same bits.
[[nodiscard]] FlightSetup make_setup(const Scenario& scenario, std::uint64_t seed);

} // namespace turnstone::sim
