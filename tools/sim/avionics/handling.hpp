#pragma once
/// What sensors feel when a vehicle is handled but does not fly: cases that must never look like a liftoff,
/// an apogee or a touchdown. Sensor streams only; no packets.
#include <cstdint>
#include <string_view>
#include <vector>

#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::sim {

enum class Handling : unsigned char {
    bump,      ///< knocked three times on the rail: 60 to 150 m/s2 for 4 to 9 ms, axial at least once
    drop,      ///< let go from 0.4 to 1.1 m, hits the ground, rolls to rest on its side
    door_slam, ///< a car door shuts on the bay: a damped 6 Hz pressure swing of 100 to 400 Pa, three times
    gust,      ///< strong gusts on the rail: rocking, and the vents' pressure wandering by 50 Pa
    transport, ///< lying in a car on a rough track that climbs and falls 30 m
    carry,     ///< walked to the rail, raised from lying to upright, slid down onto the stop
    swing      ///< swung once on an arm: 20 to 30 m/s2 along the axis for about 0.4 s
};
inline constexpr int kHandlingCount = 7;
[[nodiscard]] std::string_view to_string(Handling kind);

/// The first 5 s and the last 3 s are at rest.
struct HandlingStream {
    std::vector<ImuReading> imu;
    std::vector<PressureReading> pressure;
    double greatest_axial_mps2; ///< of the true specific force; tests check that the case is not trivial
};
[[nodiscard]] HandlingStream handle(Handling kind, const Scenario& scenario, std::uint64_t seed, double duration_s);

} // namespace turnstone::sim
