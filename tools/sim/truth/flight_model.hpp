#pragma once
/// The motion of one vehicle from the rail to the ground. Six degrees of freedom throughout, even under a parachute: it
/// pulls at the riser's attachment, so hanging, swinging and tumbling follow from the same equations.
///
/// Forces and moments in body axes (equations of the `sixdof_flight` reference case): thrust along x; drag
/// against the air-relative velocity; normal force in proportion to the sine of the angle of attack, applied
/// behind the centre of mass; pitch, yaw and roll damping; roll moment of canted fins; moments and side forces of
/// steered fins, held over a step; half-sine pulses of ejection charges. The ground is flat, at the pad's height.
#include <limits>
#include <optional>
#include <vector>

#include "shared/constants.hpp"
#include "tools/sim/truth/air.hpp"
#include "tools/sim/truth/airframe.hpp"
#include "tools/sim/truth/rigid_body.hpp"
#include "tools/sim/truth/table.hpp"

namespace turnstone::sim {

inline constexpr double kNever_s = std::numeric_limits<double>::infinity();

/// One parachute of one flight, its scatter drawn.
struct ParachuteTruth {
    double drag_area_m2;
    bool at_apogee; ///< otherwise at `height_m` above the pad, descending
    double height_m;
    double delay_s; ///< from the trigger to the charge; kNever_s: the charge never fires
    double line_stretch_s;
    double fill_s;
};

/// What goes wrong with the first charge of a tethered test.
enum class ChargeFault : unsigned char {
    none,
    does_not_light,
    lights_late, ///< some 70 ms after the igniter
    lid_stuck,
    hard,         ///< a shock beyond the accelerometer's range
    no_parachute, ///< the line never pulls
    line_snags,   ///< caught after a hand's breadth, and turned over
    weak_battery,
    brown_out ///< the supply collapses for a tenth of a second, and the electronics with it
};

/// Every true value of one flight, after scatter.
struct FlightSetup {
    double mass_dry_kg;
    double mass_propellant_kg;
    Table thrust_n; ///< against seconds since ignition, ends at zero
    double reference_area_m2;
    Table drag_coefficient;         ///< against Mach, motor off
    double drag_power_on = 1.0;     ///< factor on it while the motor burns
    double thrust_offset_rad = 0.0; ///< of the thrust line, about body z
    double rail_length_m;
    double rail_tilt_rad;
    double rail_azimuth_rad; ///< of the lean, clockwise from north
    double ignition_s;       ///< kNever_s: stays on the rail
    std::vector<ParachuteTruth> parachutes;
    Airframe airframe;
    Air air;
    Gravity gravity;
    Wind wind;
    Random ejection_random; ///< directions of the ejection transients
    ChargeFault charge_fault = ChargeFault::none;
    std::optional<FinDrive> fins{}; ///< absent: nothing steers
};

enum class Motion : unsigned char { held, rail, free, down };

/// An ejection that happened.
struct Ejection {
    double t_s;
    std::size_t parachute; ///< index into FlightSetup::parachutes
};

/// True times, seconds from the start of the simulation; NaN: did not happen.
struct FlightEvents {
    double ignition_s = kNaN;
    double liftoff_s = kNaN; ///< first motion on the rail
    double rail_exit_s = kNaN;
    double axial_zero_s = kNaN; ///< thrust has fallen to drag
    double burnout_s = kNaN;    ///< thrust has ended
    double apogee_s = kNaN;
    double touchdown_s = kNaN; ///< first touch of the ground
    double rail_exit_speed_mps = kNaN;
    double apogee_m = kNaN;
    double touchdown_speed_mps = kNaN;
    std::vector<Ejection> ejections;
};

class FlightModel {
  public:
    explicit FlightModel(FlightSetup setup);
    /// In free flight from `state` at time zero (thrown, or released from aloft).
    FlightModel(FlightSetup setup, const BodyState& state);

    /// Integrates to `t_s`, in steps of at most `max_step_s`, splitting steps at every corner of thrust
    /// table, pulses and parachute filling, at first motion and at the rail's end. Returns the mean specific
    /// force (body axes) over the interval.
    Eigen::Vector3d advance_to(double t_s, double max_step_s);

    /// Without fins that steer, nothing comes of it.
    void command_fins(const Eigen::Vector3d& deflection_rad) {
        if (fins_) fins_->command(t_s_, deflection_rad);
    }

    [[nodiscard]] double t_s() const { return t_s_; }
    [[nodiscard]] const std::optional<Fins>& fins() const { return fins_; }
    [[nodiscard]] const BodyState& state() const { return state_; }
    [[nodiscard]] Motion motion() const { return motion_; }
    [[nodiscard]] const FlightEvents& events() const { return events_; }
    [[nodiscard]] const FlightSetup& setup() const { return setup_; }
    [[nodiscard]] double thrust_n(double t_s) const;
    [[nodiscard]] double parachute_drag_area_m2(double t_s) const;
    [[nodiscard]] Eigen::Vector3d wind_enu_mps() const { return setup_.wind.at(state_.position_enu_m.z()); }
    /// Nothing changes fast: a step of one inertial sample is accurate (hanging steadily, or at rest).
    [[nodiscard]] bool calm() const;

  private:
    struct Pulse {
        double t_s;
        double duration_s;
        Eigen::Vector3d impulse_body_n_s;
        Eigen::Vector3d torque_impulse_body_n_m_s;
    };
    struct OpenParachute {
        double mouth_opens_s;
        double fill_s;
        double drag_area_m2;
    };

    [[nodiscard]] BodyRate rate_of(double t_s, const BodyState& state) const;
    [[nodiscard]] double next_corner_s(double limit_s) const;
    [[nodiscard]] double mass_kg(const BodyState& state) const { return setup_.mass_dry_kg + state.propellant_kg; }
    void step(double dt_s);
    template <class Reached>
    void step_until(double dt_s, const Reached& reached);
    void watch(const BodyState& before, double t_before_s);
    void eject(std::size_t parachute);
    void add_pulse(const Pulse& pulse);
    void add_corner(double t_s);

    FlightSetup setup_;
    double t_s_ = 0.0;
    BodyState state_;
    Motion motion_ = Motion::held;
    FlightEvents events_;
    std::optional<Fins> fins_;
    Eigen::Vector3d rail_enu_;
    double exhaust_speed_mps_;
    bool separated_ = false;
    std::vector<Pulse> pulses_;
    std::vector<OpenParachute> open_parachutes_;
    std::vector<double> corners_s_;   ///< ascending
    std::vector<double> charge_at_s_; ///< of each parachute; kNever_s until its trigger came
    std::vector<bool> triggered_;
    Eigen::Vector3d force_sum_ = Eigen::Vector3d::Zero(); ///< integral of specific force since advance_to began
};

} // namespace turnstone::sim
