#include "tools/sim/truth/truth.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "tools/sim/truth/tethered.hpp"

namespace turnstone::sim {

namespace {

constexpr double kFineStep_s = 0.001;
/// By this time a vehicle of this class is down, or its description is wrong.
constexpr double kFlightLimit_s = 900.0;
/// An impact faster than this destroys the electronics.
constexpr double kSurvivableImpact_mps = 18.0;
constexpr double kImpactPulse_s = 0.022;
constexpr double kTipOver_s = 0.9;

TruthSample sample_of(const FlightSetup& setup, double t_s, const BodyState& state, const Eigen::Vector3d& wind) {
    TruthSample sample{};
    sample.t_s = t_s;
    sample.position_enu_m = state.position_enu_m;
    sample.velocity_enu_mps = state.velocity_enu_mps;
    sample.q_local_body = state.q_local_body;
    sample.wind_enu_mps = wind;
    sample.mass_kg = setup.mass_dry_kg + state.propellant_kg;
    const AirPoint air = setup.air.at(state.position_enu_m.z());
    const double airspeed = (state.velocity_enu_mps - wind).norm();
    sample.pressure_pa = air.pressure_pa;
    sample.temperature_k = air.temperature_k;
    sample.mach = airspeed / air.speed_of_sound_mps;
    sample.dynamic_pressure_pa = 0.5 * air.density_kg_m3 * airspeed * airspeed;
    return sample;
}

TruePhase phase_of(const FlightModel& model) {
    const FlightEvents& events = model.events();
    if (model.motion() == Motion::down) return TruePhase::down;
    if (model.motion() == Motion::held) return TruePhase::on_the_rail;
    if (model.t_s() < events.burnout_s) return TruePhase::under_thrust;
    if (std::isnan(events.apogee_s)) return TruePhase::coasting;
    const auto is_drogue = [&](const Ejection& e) { return model.setup().parachutes[e.parachute].at_apogee; };
    if (events.ejections.empty()) return TruePhase::falling;
    return std::all_of(events.ejections.begin(), events.ejections.end(), is_drogue) ? TruePhase::under_drogue
                                                                                    : TruePhase::under_main;
}

/// What happens after the first touch: the velocity goes to zero in a smooth pulse, then the body tips over
/// to lie flat and stops with a bump. Prescribed, since nothing in the flight depends on it.
class Touchdown {
  public:
    Touchdown(double t_s, const BodyState& touch, double gravity_mps2)
        : t_s_(t_s), touch_(touch), gravity_(0.0, 0.0, gravity_mps2) {
        const Eigen::Vector3d nose = touch.q_local_body * Eigen::Vector3d::UnitX();
        const Eigen::Vector3d axis =
            nose.cross(Eigen::Vector3d(nose.x(), nose.y(), 0.0).norm() > 1e-6 ? Eigen::Vector3d(nose.x(), nose.y(), 0.0)
                                                                              : Eigen::Vector3d::UnitX());
        axis_ = axis.norm() > 1e-9 ? Eigen::Vector3d(axis.normalized()) : Eigen::Vector3d::UnitY();
        angle_rad_ = std::asin(std::clamp(std::abs(nose.z()), 0.0, 1.0));
    }
    [[nodiscard]] Eigen::Vector3d velocity(double t_s) const {
        const double phase = std::clamp((t_s - t_s_) / kImpactPulse_s, 0.0, 1.0);
        const Eigen::Vector3d fall = touch_.velocity_enu_mps * 0.5 * (1.0 + std::cos(std::numbers::pi * phase));
        // The tip-over ends with the bay stopping from about 0.6 m/s.
        const double bump = std::clamp((t_s - t_s_ - kTipOver_s) / 0.02, 0.0, 1.0);
        const double tipping =
            t_s - t_s_ > 0.1 ? 0.6 * std::clamp((t_s - t_s_ - 0.1) / (kTipOver_s - 0.1), 0.0, 1.0) : 0.0;
        return fall - Eigen::Vector3d(0.0, 0.0, tipping * (1.0 - bump));
    }
    [[nodiscard]] Eigen::Quaterniond attitude(double t_s) const {
        const double fraction = std::clamp((t_s - t_s_) / kTipOver_s, 0.0, 1.0);
        return Eigen::Quaterniond(Eigen::AngleAxisd(angle_rad_ * fraction * fraction, axis_)) * touch_.q_local_body;
    }
    [[nodiscard]] Eigen::Vector3d specific_force(double from_s, double to_s) const {
        const Eigen::Vector3d accel = (velocity(to_s) - velocity(from_s)) / (to_s - from_s);
        return attitude(0.5 * (from_s + to_s)).conjugate() * (accel + gravity_);
    }
    [[nodiscard]] Eigen::Vector3d rate(double from_s, double to_s) const {
        const Eigen::AngleAxisd turn(attitude(from_s).conjugate() * attitude(to_s));
        return turn.axis() * turn.angle() / (to_s - from_s);
    }

  private:
    double t_s_;
    BodyState touch_;
    Eigen::Vector3d gravity_;
    Eigen::Vector3d axis_;
    double angle_rad_;
};

Truth run_flight(const FlightSetup& setup, double after_touchdown_s, double duration_s, const FinCommand& steer) {
    Truth truth;
    FlightModel model(setup);
    const double max_thrust = *std::max_element(setup.thrust_n.y.begin(), setup.thrust_n.y.end());
    const double limit_s = setup.ignition_s < kNever_s ? setup.ignition_s + kFlightLimit_s : duration_s;
    truth.samples.reserve(24000);
    std::size_t tick = 0;
    while (model.motion() != Motion::down && model.t_s() < limit_s) {
        const double from_s = model.t_s();
        const double to_s = static_cast<double>(++tick) * kTruthStep_s;
        const Eigen::Vector3d rate_before = model.state().rate_body_radps;
        const Eigen::Vector3d force = model.advance_to(to_s, model.calm() ? kTruthStep_s : kFineStep_s);
        TruthSample sample = sample_of(setup, model.t_s(), model.state(), model.wind_enu_mps());
        sample.specific_force_body_mps2 = force;
        sample.rate_body_radps = 0.5 * (rate_before + model.state().rate_body_radps);
        sample.thrust_fraction = model.thrust_n(0.5 * (from_s + to_s)) / max_thrust;
        sample.phase = phase_of(model);
        if (model.fins()) {
            sample.fin_rad = model.fins()->deflection_rad();
            if (steer) model.command_fins(steer(sample));
            sample.fin_command_rad = model.fins()->commanded_rad();
        }
        if (model.motion() == Motion::down) {
            truth.destroyed = model.events().touchdown_speed_mps > kSurvivableImpact_mps;
            break; // the interval of the touch is finished below
        }
        truth.samples.push_back(sample);
    }
    truth.events = model.events();
    if (model.motion() != Motion::down || truth.destroyed) return truth;
    const Touchdown touchdown(model.t_s(), model.state(), setup.gravity.at(0.0));
    const double end_s = truth.events.touchdown_s + after_touchdown_s;
    BodyState rest = model.state();
    rest.position_enu_m.z() = 0.0;
    for (;; ++tick) {
        const double to_s = static_cast<double>(tick) * kTruthStep_s;
        if (to_s > end_s) return truth;
        const double from_s = to_s - kTruthStep_s;
        rest.velocity_enu_mps = touchdown.velocity(to_s);
        rest.q_local_body = touchdown.attitude(to_s);
        TruthSample sample = sample_of(setup, to_s, rest, setup.wind.mean_enu_mps(0.0));
        sample.specific_force_body_mps2 = touchdown.specific_force(from_s, to_s);
        sample.rate_body_radps = touchdown.rate(from_s, to_s);
        sample.phase = TruePhase::down;
        truth.samples.push_back(sample);
    }
}

} // namespace

std::string_view to_string(TruePhase phase) {
    switch (phase) {
    case TruePhase::on_the_rail: return "on_the_rail";
    case TruePhase::on_the_stand: return "on_the_stand";
    case TruePhase::under_thrust: return "under_thrust";
    case TruePhase::coasting: return "coasting";
    case TruePhase::falling: return "falling";
    case TruePhase::under_drogue: return "under_drogue";
    case TruePhase::under_main: return "under_main";
    case TruePhase::down: return "down";
    }
    return "";
}

Truth run_truth(const FlightSetup& setup, RunKind kind, double after_touchdown_s, double duration_s,
                const FinCommand& steer) {
    return kind == RunKind::tethered ? run_tethered(setup, after_touchdown_s)
                                     : run_flight(setup, after_touchdown_s, duration_s, steer);
}

} // namespace turnstone::sim
