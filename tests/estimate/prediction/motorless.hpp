#pragma once
/// A vehicle without a motor, and a block of its flights side by side: what the tests of trajectories start from.
#include <memory>

#include "server/estimate/prediction/trajectories.hpp"

namespace turnstone::test {

inline RocketModel motorless(double mass_kg, double area_m2, double drag_coefficient) {
    RocketModel rocket{};
    rocket.mass_dry_kg = mass_kg;
    rocket.reference_area_m2 = area_m2;
    rocket.drag_coefficient = {{0}, {drag_coefficient}};
    rocket.thrust_n = {{0, 0.01}, {0, 0}};
    return rocket;
}

/// All lanes alike, over the pad, no wind, no parachute.
inline std::unique_ptr<estimate::FlightBlock> block_at(double height_m, double speed_up_mps) {
    auto b = std::make_unique<estimate::FlightBlock>();
    b->t_s = b->x_m = b->y_m = b->vx_mps = b->vy_mps = estimate::Lanes::Zero();
    b->z_m = estimate::Lanes::Constant(height_m);
    b->vz_mps = estimate::Lanes::Constant(speed_up_mps);
    b->thrust_scale = b->burn_scale = b->drag_scale = b->mass_scale = b->stiffness_scale = b->nose_z =
        estimate::Lanes::Ones();
    b->nose_x = b->nose_y = b->turn_x = b->turn_y = b->turn_z = b->thrust_east = b->thrust_north = b->delay_scale_s =
        b->late_s = estimate::Lanes::Zero();
    b->parachute_m2 = {estimate::Lanes::Zero(), estimate::Lanes::Zero()};
    b->opens_s = {estimate::Lanes::Constant(1e9), estimate::Lanes::Constant(1e9)};
    b->wind_east.setZero();
    b->wind_north.setZero();
    return b;
}

} // namespace turnstone::test
