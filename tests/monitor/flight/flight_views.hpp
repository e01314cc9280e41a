#pragma once
/// Views of a flight made up for tests of what follows from them.
#include "server/monitor/flight/flight_view.hpp"
#include "shared/constants.hpp"
#include "shared/site.hpp"
#include "shared/time.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::test {

inline constexpr std::int64_t kViewed_ns = 1'790'000'000 * kNsPerS;

inline std::int64_t viewed_at(double t_s) {
    return kViewed_ns + seconds_to_ns(t_s);
}

/// 3 kg, drogue 0.11 m² at apogee, main 1.55 m² below 180 m.
inline Vehicle parachute_vehicle() {
    Vehicle vehicle;
    vehicle.name = "test";
    RocketModel rocket{};
    rocket.mass_dry_kg = 3.0;
    rocket.reference_area_m2 = 0.005;
    rocket.scatter.parachute_drag_area = 0.1;
    rocket.scatter.opening_delay_s = 0.2;
    rocket.parachutes = {{.name = "drogue", .drag_area_m2 = 0.11, .opens_after_s = 0.5},
                         {.name = "main", .drag_area_m2 = 1.55, .opens_below_m = 180.0, .opens_after_s = 0.2}};
    vehicle.rocket = rocket;
    return vehicle;
}

inline Site sea_level_site() {
    Site site;
    site.name = "test";
    site.pad = site.station = {45.0, 7.0, 0.0};
    return site;
}

/// A rocket heard just before `t_s` with this altitude and vertical speed, 1 m and 0.5 m/s of 1-sigma.
inline FlightView view_of(estimate::Phase phase, double t_s, double altitude_m = kNaN, double up_mps = kNaN) {
    FlightView view;
    view.t_ns = viewed_at(t_s);
    view.flies = true;
    view.sends_fixes = true;
    view.phase = phase;
    view.t_received_ns = view.t_measured_ns = view.t_height_ns = view.t_inertial_ns = view.t_ns - 50 * kNsPerMs;
    if (phase != estimate::Phase::on_rail) view.liftoff_ns = viewed_at(0);
    view.altitude_source = view.speed_source = MotionSource::navigation;
    view.altitude_m = {altitude_m, 1.0, view.t_measured_ns};
    view.vertical_speed_mps = {up_mps, 0.5, view.t_measured_ns};
    view.speed_of_mps[static_cast<std::size_t>(MotionSource::navigation)] = view.vertical_speed_mps;
    return view;
}

/// East and north of the pad, just measured.
inline Place place_of(const FlightView& view, double east_m, double north_m) {
    return {.east_m = east_m, .north_m = north_m, .sigma_m = 0.4, .up_m = 0, .t_ns = view.t_measured_ns};
}

} // namespace turnstone::test
