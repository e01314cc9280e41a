#pragma once
/// Many flights of a point mass side by side: what the predictions of apogee and landing are made of.
///
/// Model: m dv/dt = thrust + drag - m g. Thrust acts along the long axis, which a stable vehicle turns into the
/// relative wind over a distance of some hundred diameters; drag opposes the motion through the air, with the body's
/// coefficient against Mach and the areas of the open parachutes. Air: density a cubic of height through the day's
/// profile, sound speed linear. Wind: linear between nodes. Gravity constant. Ground: flat or the site's grid.
/// Integration: midpoint coefficients with Crank-Nicolson drag, second order and stable for any stiffness of a
/// parachute (E. Hairer, G. Wanner, "Solving Ordinary Differential Equations II", 2nd ed. 1996, chapter IV.3); 20 ms
/// while the motor burns, 50 ms on the way up, 0.1 s down. Struct of arrays in blocks of kLanes, the same operations
/// for all lanes. Pure; no allocation.
#include <array>

#include <Eigen/Core>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/air/wind_profile.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

inline constexpr int kLanes = 8;
using Lanes = Eigen::Array<double, kLanes, 1>;
using LaneWind = Eigen::Matrix<double, kLanes, WindProfile::kNodes>;

/// Height of the ground above the pad, m.
class Ground {
  public:
    /// `site` must outlive it.
    explicit Ground(const Site& site);
    [[nodiscard]] bool flat() const noexcept { return !site_->terrain; }
    [[nodiscard]] double at(double east_m, double north_m) const;
    [[nodiscard]] double highest_m() const noexcept { return highest_m_; }

  private:
    const Site* site_;
    double degrees_per_east_m_, degrees_per_north_m_;
    double highest_m_ = 0;
};

/// What all flights of a round share.
struct FlightConditions {
    FlightConditions(const RocketModel& model, double gravity_mps2, const Ground& ground);
    void set_air(const DayAtmosphere& air);

    static constexpr int kTable = 128;
    const RocketModel* rocket;
    Ground ground;
    double gravity_mps2;
    double burn_time_s, mach_step = 0.02;
    std::array<double, kTable> drag_coefficient{};               ///< against Mach in steps of mach_step
    std::array<double, kTable> thrust_n{}, propellant_left_kg{}; ///< against time in burn_time_s / (kTable - 1)
    std::array<double, 4> density_kg_m3{};                       ///< of powers of height in km
    double sound_mps = 340, sound_per_m = -0.004;
    bool first_parachute = true, later_parachutes = true; ///< of a case: which of them open at all
};

/// One block of flights. Times in seconds since ignition.
struct FlightBlock {
    Lanes t_s, x_m, y_m, z_m, vx_mps, vy_mps, vz_mps; ///< ENU at the pad
    Lanes thrust_scale, burn_scale, drag_scale, mass_scale;
    Lanes nose_x, nose_y;              ///< horizontal parts of the long axis' direction
    Lanes thrust_east, thrust_north;   ///< thrust's direction off the long axis, rad
    Lanes turn_distance_m;             ///< over which the long axis follows the motion, e-fold
    std::array<Lanes, 2> parachute_m2; ///< drag area of the first and of the second parachute
    std::array<Lanes, 2> opens_s;      ///< infinity: not yet triggered
    Lanes delay_scale_s;               ///< added to each delay
    LaneWind wind_east, wind_north;
    bool burning = false; ///< whether any motor may still burn
    /// Results.
    Lanes apogee_m, apogee_s, landing_east_m, landing_north_m, landing_s;
};

/// From rest on a rail to its end; fills the state. Direction per lane (unit vectors).
void leave_rail(const FlightConditions& conditions, FlightBlock& block, const Lanes& rail_x, const Lanes& rail_y,
                const Lanes& rail_z);
/// To apogee, if it still climbs.
void climb(const FlightConditions& conditions, FlightBlock& block);
/// From apogee or later to the ground (or 20 minutes, whichever comes first: then the place reached by then).
void descend(const FlightConditions& conditions, FlightBlock& block);

} // namespace turnstone::estimate
