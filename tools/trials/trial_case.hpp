#pragma once
/// A scenario with a radio, an error set, a vehicle that measures this or that, and perhaps one thing worse than usual.
#include <string>
#include <string_view>
#include <vector>

#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::trials {

/// What a vehicle measures. "demo" is the demonstration vehicle with its own packets.
struct Kit {
    std::string_view name;
    sim::Telemetry telemetry;
};
[[nodiscard]] const std::vector<Kit>& kits();

/// One thing that is worse than the error sets have it.
struct Trouble {
    std::string_view name;
    std::string_view summary;
    void (*apply)(sim::Scenario& scenario);
};
[[nodiscard]] const std::vector<Trouble>& troubles();

struct TrialCase {
    std::string scenario = "nominal";
    std::string radio = "clean";
    std::string errors = "tuning";
    std::string kit = "demo";
    std::string trouble{};                          ///< empty: none
    double imu_hz = 0, pressure_hz = 0, fix_hz = 0; ///< 0: the kit's
    std::size_t batch = 0;                          ///< 0: the kit's
    [[nodiscard]] std::string title() const;
};
/// Throws std::runtime_error with what is not known.
[[nodiscard]] sim::Scenario scenario_of(const TrialCase& trial_case);

} // namespace turnstone::trials
