#pragma once
/// What the simulator's tests share.
#include <catch2/catch.hpp>

#include "tests/support/attitude.hpp"
#include "tests/support/reference.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::sim {

using namespace test;

/// A vehicle that is only a mass with drag: no lift, no spin, no motor.
inline FlightSetup point_mass(double mass_kg, double area_m2, double cd, Air air, Gravity gravity) {
    Airframe airframe{};
    airframe.inertia_dry_kg_m2 = {1.0, 1.0};
    airframe.inertia_propellant_kg_m2 = {1.0, 1.0};
    return FlightSetup{.mass_dry_kg = mass_kg,
                       .mass_propellant_kg = 1.0,
                       .thrust_n = {{0.0, 1.0, 2.0}, {0.0, 1.0, 0.0}},
                       .reference_area_m2 = area_m2,
                       .drag_coefficient = {{0.0}, {cd}},
                       .rail_length_m = 1.0,
                       .rail_tilt_rad = 0.0,
                       .rail_azimuth_rad = 0.0,
                       .ignition_s = kNever_s,
                       .parachutes = {},
                       .airframe = airframe,
                       .air = air,
                       .gravity = gravity,
                       .wind = Wind({}, {}, 0.0, Random(0, "calm")),
                       .ejection_random = Random(0, "none")};
}

inline constexpr double kForever_m = std::numeric_limits<double>::infinity();

} // namespace turnstone::sim
