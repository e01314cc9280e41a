#pragma once
/// How a vehicle swings about its flight path in pitch and yaw: natural frequency and damping, from the rates alone,
/// after whatever disturbs it: the rail's end, gusts, the fins.
///
/// States, body axes (y: pitch, z: yaw): the angle a between long axis and air, rad, and the rate w, rad/s, with
///
///     a' = w - g + disturbance        w' = -k q a - c (q / V) w + m q delta + b q
///
/// both turning with the roll rate p, since the axes do; g, the turn of the flight path under gravity, is constant in
/// space and so turns backwards in the body. k and c gather what stiffens and what damps: natural frequency^2 = k q,
/// 2 zeta times it = c q / V (B. Etkin, L. D. Reid, Dynamics of Flight, 3rd ed., ch. 4: the short period; chapter from
/// memory). What a sensor that is mounted askew takes from the roll rate is fitted where the roll rate changes, and the
/// delay of the rates behind the deflections where fins moved. A Kalman filter runs over the rates, disturbances of the
/// angle are white (the wind's acceleration over the airspeed), and k, c, m, b of both axes make its innovations small,
/// as in roll.hpp; m only where fins moved. Valid for one inertia, and for angles where moments are straight lines.
#include <functional>
#include <span>
#include <string>

#include "server/analysis/identify/verdict.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// Columns of one length. Deflections: empty when there are none.
struct SwingRecord {
    std::span<const double> t_s;
    std::span<const double> roll_radps, pitch_radps, yaw_radps; ///< biases taken off
    std::span<const double> dynamic_pressure_pa, airspeed_mps;
    std::span<const double> pitch_fin_rad, yaw_fin_rad;
};

struct Swing {
    Verdict verdict;
    double natural_hz = kNone, damping = kNone; ///< at the reference
    Interval natural_hz_interval, damping_interval;
    double fin_effect_per_s2 = kNone; ///< m q, per rad at the reference; NaN: fins did not move
    Interval fin_effect_interval;
};

struct SwingDynamics {
    Swing pitch, yaw;
    double reference_q_pa = kNone, reference_speed_mps = kNone;
    std::size_t samples = 0;
};

/// `dynamic_pressure`: its 1-sigma, relative, the same for the whole flight. `go_on` is called between fits with the
/// part of the work that is done; false ends it, and the result says nothing.
[[nodiscard]] SwingDynamics identify_swing(const SwingRecord& record, double dynamic_pressure = 0.02,
                                           const std::function<bool(double)>& go_on = {});

/// What else a static margin takes. NaN: not known.
struct StaticMarginNeeds {
    double inertia_kg_m2 = kNone; ///< transverse, motor burnt out
    double mass_kg = kNone;
    double area_m2 = kNone;
    double normal_force_slope_per_rad = kNone;
};
struct StaticMargin {
    double value_m = kNone;
    Interval interval_m; ///< of the natural frequency alone
    std::string why;     ///< when there is none
};
/// The stiffness is dynamic pressure times area times slope times margin over inertia, plus what the damping takes with
/// the turning of the flight path.
[[nodiscard]] StaticMargin static_margin(const Swing& swing, double reference_q_pa, double reference_speed_mps,
                                         const StaticMarginNeeds& needs);

} // namespace turnstone::analysis
