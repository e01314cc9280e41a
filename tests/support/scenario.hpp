#pragma once
/// A scenario of the simulator with the demo's vehicle and site, for programs that link sim.
#include <stdexcept>
#include <string_view>

#include "tests/support/tree.hpp"
#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::test {

inline sim::Scenario demo_scenario(std::string_view name) {
    auto scenario = sim::make_scenario(name, demo_path("sanderling"), demo_path("site.json"));
    if (!scenario) throw std::runtime_error(scenario.error().message);
    return std::move(*scenario);
}

} // namespace turnstone::test
