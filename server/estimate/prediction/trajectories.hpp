#pragma once
/// Many flights side by side: what the predictions of apogee and landing are made of.
///
/// Model: m dv/dt = thrust + drag + normal force - m g. Thrust acts along the long axis; drag opposes the motion
/// through the air, with the body's coefficient against Mach and the areas of the open parachutes. On the way up the
/// long axis follows the motion as a weather vane does: I w' = x N - D w, with the normal force N = rho V S C_N
/// u_across / 2 behind the centre of mass by the static margin x. It lags while the path bends, so that N holds the
/// path up near apogee, where a point mass alone would fall short by a per cent of what is left. Thrust off the long
/// axis turns it, most where a slow vehicle has just left its rail (J. S. Barrowman, "The Practical Calculation of the
/// Aerodynamic Characteristics of Slender Finned Vehicles", 1967, from memory, for slope, margin and damping; the
/// figures in the .cpp are common practice for vehicles whose file does not say).
///
/// Air: density and sound speed linear between steps of kAirStep_m of the day's profile, up to 32 km. Wind: linear
/// between nodes. Gravity constant. Ground: flat or the site's grid. Integration: midpoint coefficients with
/// Crank-Nicolson drag, second order and stable for any stiffness of a parachute (E. Hairer, G. Wanner, "Solving
/// Ordinary Differential Equations II", 2nd ed. 1996, chapter IV.3); the long axis by trapezoid steps; 20 ms while
/// the motor burns, 50 ms on the way up, 0.1 s down. Struct of arrays in blocks of kLanes, the same operations for all
/// lanes. Pure; no allocation.
#include <array>
#include <functional>

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
    static constexpr int kAirTable = 129;
    static constexpr double kAirStep_m = 250;
    const RocketModel* rocket;
    Ground ground;
    double gravity_mps2;
    double burn_time_s, mach_step = 0.02;
    std::array<double, kTable> drag_coefficient{};               ///< against Mach in steps of mach_step
    std::array<double, kTable> thrust_n{}, propellant_left_kg{}; ///< against time in burn_time_s / (kTable - 1)
    std::array<double, kAirTable> density_kg_m3{}, sound_mps{};  ///< against height above the pad
    double normal_area_m2 = 0; ///< reference area times the slope of the normal force; 0: the long axis is the motion's
    double stiffness_m_per_kg = 0;     ///< the vane's: normal area times static margin over moment of inertia
    double damping_m2_per_kg = 0;      ///< of its swing, over moment of inertia
    double turn_per_push_per_kg_m = 0; ///< arm of the nozzle behind the centre of mass over moment of inertia
};

/// How the parachutes of a case open.
struct Openings {
    bool first = true;             ///< the first opens at all
    bool later = true;             ///< the second does
    bool later_with_first = false; ///< the second comes out at the first one's moment
    double since_apogee_s = 0;     ///< already past when the flights start
};

/// One block of flights. Times in seconds since ignition.
struct FlightBlock {
    Lanes t_s, x_m, y_m, z_m, vx_mps, vy_mps, vz_mps; ///< ENU at the pad
    Lanes thrust_scale, burn_scale, drag_scale, mass_scale;
    Lanes nose_x, nose_y, nose_z;      ///< direction of the long axis
    Lanes turn_x, turn_y, turn_z;      ///< its rate of turning, rad/s
    Lanes stiffness_scale;             ///< of the vane
    Lanes thrust_east, thrust_north;   ///< thrust's direction off the long axis, rad
    std::array<Lanes, 2> parachute_m2; ///< drag area of the first and of the second parachute
    std::array<Lanes, 2> opens_s;      ///< infinity: not yet triggered
    Lanes delay_scale_s;               ///< added to each delay
    Lanes late_s;                      ///< added to the first parachute's
    LaneWind wind_east, wind_north;
    bool burning = false;      ///< whether any motor may still burn
    bool in_one_piece = false; ///< the long axis follows the motion
    /// Results.
    Lanes apogee_m, apogee_s, landing_east_m, landing_north_m, landing_s;
};

/// From rest on a rail to its end; fills the state. Direction per lane (unit vectors).
void leave_rail(const FlightConditions& conditions, FlightBlock& block, const Lanes& rail_x, const Lanes& rail_y,
                const Lanes& rail_z);
/// Sees the block after each step; those that have arrived stand still in it.
using EachStep = std::function<void(const FlightBlock&)>;
/// To apogee, if it still climbs.
void climb(const FlightConditions& conditions, FlightBlock& block, const EachStep& each = {});
/// From apogee or later to the ground (or kLongest_s, whichever comes first: then the place reached by then).
void descend(const FlightConditions& conditions, FlightBlock& block, const Openings& openings = {},
             const EachStep& each = {});

} // namespace turnstone::estimate
