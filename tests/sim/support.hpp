#pragma once
/// What the simulator's tests share: the demonstration scenario, and reading reference cases.
#include <fstream>
#include <stdexcept>
#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tools/sim/fly.hpp"

namespace turnstone::sim {

inline Scenario demo_scenario(std::string_view name) {
    const std::string root = TURNSTONE_SOURCE_DIR;
    auto scenario = make_scenario(name, root + "/tools/demo/sanderling", root + "/tools/demo/site.json");
    if (!scenario) throw std::runtime_error(scenario.error().message);
    return std::move(*scenario);
}

/// The cases of one kind in tests/reference/numerics/`file`.
inline std::vector<nlohmann::json> reference_cases(const std::string& file, const std::string& kind) {
    std::ifstream input(std::string(TURNSTONE_SOURCE_DIR) + "/tests/reference/numerics/" + file);
    const nlohmann::json whole = nlohmann::json::parse(input);
    std::vector<nlohmann::json> cases;
    for (const nlohmann::json& entry : whole.at("cases"))
        if (entry.at("kind") == kind) cases.push_back(entry);
    return cases;
}

inline Eigen::Vector3d vector_of(const nlohmann::json& row, std::size_t first = 0) {
    return {row.at(first).get<double>(), row.at(first + 1).get<double>(), row.at(first + 2).get<double>()};
}

inline Eigen::Quaterniond quaternion_of(const nlohmann::json& row, std::size_t first = 0) {
    return {row.at(first).get<double>(), row.at(first + 1).get<double>(), row.at(first + 2).get<double>(),
            row.at(first + 3).get<double>()};
}

/// Largest difference of the components; q and -q are the same attitude.
inline double distance(const Eigen::Quaterniond& a, const Eigen::Quaterniond& b) {
    return std::min((a.coeffs() - b.coeffs()).cwiseAbs().maxCoeff(), (a.coeffs() + b.coeffs()).cwiseAbs().maxCoeff());
}

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
                       .wind = Wind({}, {}, 0.0, 1.0, Random(0, "calm")),
                       .ejection_random = Random(0, "none")};
}

inline constexpr double kForever_m = std::numeric_limits<double>::infinity();

} // namespace turnstone::sim
