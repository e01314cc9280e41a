#include "tools/sim/truth/flight_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace turnstone::sim {

namespace {

/// The recoil arrives when the shock cord has run out and snatches the bay back.
constexpr double kSnatchDelay_s = 0.28;
constexpr double kSnatchDuration_s = 0.018;
/// Resistance of cord and parachute to twist, as a part of their resistance to swinging.
constexpr double kTwistDamping = 0.008;

/// Half-sine of unit area.
double pulse_shape(double since_s, double duration_s) {
    if (since_s <= 0.0 || since_s >= duration_s) return 0.0;
    return 0.5 * std::numbers::pi / duration_s * std::sin(std::numbers::pi * since_s / duration_s);
}

} // namespace

FlightModel::FlightModel(FlightSetup setup) : setup_(std::move(setup)) {
    const double sine = std::sin(setup_.rail_tilt_rad);
    rail_enu_ = {sine * std::sin(setup_.rail_azimuth_rad), sine * std::cos(setup_.rail_azimuth_rad),
                 std::cos(setup_.rail_tilt_rad)};
    state_.q_local_body = turn_between(Eigen::Vector3d::UnitX(), rail_enu_);
    state_.propellant_kg = setup_.mass_propellant_kg;
    exhaust_speed_mps_ = setup_.thrust_n.integral() / setup_.mass_propellant_kg;
    if (setup_.fins) fins_.emplace(*setup_.fins);
    charge_at_s_.assign(setup_.parachutes.size(), kNever_s);
    triggered_.assign(setup_.parachutes.size(), false);
    if (setup_.ignition_s < kNever_s) {
        events_.ignition_s = setup_.ignition_s;
        events_.burnout_s = setup_.ignition_s + setup_.thrust_n.x.back();
        for (const double corner_s : setup_.thrust_n.x) add_corner(setup_.ignition_s + corner_s);
    }
}

FlightModel::FlightModel(FlightSetup setup, const BodyState& state) : FlightModel(std::move(setup)) {
    state_ = state;
    motion_ = Motion::free;
}

double FlightModel::thrust_n(double t_s) const {
    const double since_s = t_s - setup_.ignition_s;
    return since_s <= 0.0 || since_s >= setup_.thrust_n.x.back() ? 0.0 : setup_.thrust_n.at(since_s);
}

double FlightModel::parachute_drag_area_m2(double t_s) const {
    double area_m2 = 0.0;
    for (const OpenParachute& parachute : open_parachutes_) {
        // Area grows with the square of time while the parachute fills (T. W. Knacke, Parachute Recovery Systems
        // Design Manual, NWC TP 6575, ch. 5).
        const double fraction = std::clamp((t_s - parachute.mouth_opens_s) / parachute.fill_s, 0.0, 1.0);
        area_m2 += parachute.drag_area_m2 * fraction * fraction;
    }
    return area_m2;
}

bool FlightModel::calm() const {
    if (motion_ == Motion::held) return t_s_ + 0.05 < setup_.ignition_s;
    if (motion_ == Motion::down) return true;
    if (open_parachutes_.empty() || state_.rate_body_radps.squaredNorm() > 4.0) return false;
    return corners_s_.empty() || t_s_ > corners_s_.back() + 2.0;
}

BodyRate FlightModel::rate_of(double t_s, const BodyState& s) const {
    const Airframe& frame = setup_.airframe;
    const double up_m = s.position_enu_m.z();
    const Eigen::Matrix3d c = s.q_local_body.normalized().toRotationMatrix();
    const Eigen::Vector3d& w = s.rate_body_radps;
    const double mass = mass_kg(s);
    const double thrust = thrust_n(t_s);

    const AirPoint air = setup_.air.at(up_m);
    const Eigen::Vector3d u_enu = s.velocity_enu_mps - setup_.wind.at(up_m);
    const Eigen::Vector3d u = c.transpose() * u_enu;
    const double speed = std::max(u.norm(), 1e-9);
    const double pressure_area_n = 0.5 * air.density_kg_m3 * speed * speed * setup_.reference_area_m2;
    const double cd =
        setup_.drag_coefficient.at(speed / air.speed_of_sound_mps) * (thrust > 0.0 ? setup_.drag_power_on : 1.0);

    const Eigen::Vector3d normal =
        -pressure_area_n * frame.normal_force_slope_per_rad / speed * Eigen::Vector3d(0.0, u.y(), u.z());
    Eigen::Vector3d force = -pressure_area_n * cd / speed * u + normal;
    force.x() += thrust * std::cos(setup_.thrust_offset_rad);
    force.y() += thrust * std::sin(setup_.thrust_offset_rad);

    const double damping = 0.5 * air.density_kg_m3 * speed * setup_.reference_area_m2;
    Eigen::Vector3d torque(-damping * frame.roll_damping_m2 * w.x(), -damping * frame.damping_length2_m2 * w.y(),
                           -damping * frame.damping_length2_m2 * w.z());
    if (!separated_) {
        // In one piece the fins hold the nose into the wind; a bay on a cord has no such stability.
        torque += Eigen::Vector3d(-frame.static_margin_m, 0.0, 0.0).cross(normal);
        torque.x() += pressure_area_n * frame.roll_cant_m;
    }
    if (fins_) {
        const FinDrive& drive = fins_->drive();
        const Eigen::Vector3d moment =
            pressure_area_n * fins_->deflection_rad().cwiseProduct(
                                  Eigen::Vector3d(drive.roll_effect_m, drive.pitch_effect_m, drive.pitch_effect_m));
        torque += moment;
        force += Eigen::Vector3d(0.0, -moment.z(), moment.y()) / drive.arm_m;
    }
    torque.z() -= thrust * std::sin(setup_.thrust_offset_rad) * frame.riser_arm_m; // motor as far behind as riser ahead

    if (!open_parachutes_.empty()) {
        const double area_m2 = parachute_drag_area_m2(t_s);
        const Eigen::Vector3d arm(frame.riser_arm_m, 0.0, 0.0);
        const Eigen::Vector3d u_riser = u + w.cross(arm);
        const Eigen::Vector3d pull = -0.5 * air.density_kg_m3 * area_m2 * u_riser.norm() * u_riser;
        force += pull;
        // The cord damps swinging; it hardly resists twist.
        torque += arm.cross(pull) - frame.hanging_damping_n_m_s * Eigen::Vector3d(kTwistDamping * w.x(), w.y(), w.z());
    }
    for (const Pulse& pulse : pulses_) {
        const double shape = pulse_shape(t_s - pulse.t_s, pulse.duration_s);
        force += shape * pulse.impulse_body_n_s;
        torque += shape * pulse.torque_impulse_body_n_m_s;
    }

    const double remaining = s.propellant_kg / setup_.mass_propellant_kg;
    const double inertia_x = frame.inertia_dry_kg_m2[0] + remaining * frame.inertia_propellant_kg_m2[0];
    const double inertia_yz = frame.inertia_dry_kg_m2[1] + remaining * frame.inertia_propellant_kg_m2[1];
    const double gravity = setup_.gravity.at(up_m);

    BodyRate rate;
    rate.velocity_enu_mps = s.velocity_enu_mps;
    rate.propellant_kgps = -thrust / exhaust_speed_mps_;
    if (motion_ == Motion::free) {
        rate.accel_enu_mps2 = c * force / mass - Eigen::Vector3d(0.0, 0.0, gravity);
        rate.specific_force_body_mps2 = force / mass;
        rate.q_dot = quaternion_rate(s.q_local_body, w);
        rate.rate_dot_body_radps2 = euler_rate({inertia_x, inertia_yz, inertia_yz}, w, torque);
        return rate;
    }
    rate.q_dot.setZero();
    rate.rate_dot_body_radps2.setZero();
    if (motion_ == Motion::rail)
        rate.accel_enu_mps2 = rail_enu_ * (force.x() / mass - gravity * rail_enu_.z());
    else
        rate.accel_enu_mps2.setZero();
    rate.specific_force_body_mps2 = c.transpose() * (rate.accel_enu_mps2 + Eigen::Vector3d(0.0, 0.0, gravity));
    return rate;
}

void FlightModel::step(double dt_s) {
    const double airspeed_mps = (state_.velocity_enu_mps - setup_.wind.at(state_.position_enu_m.z())).norm();
    setup_.wind.advance(dt_s, state_.position_enu_m.z(), airspeed_mps);
    Eigen::Vector3d mid;
    const BodyState before = state_;
    const double t_before_s = t_s_;
    state_ = rk4_step(
        before, t_s_, dt_s, [this](double t, const BodyState& s) { return rate_of(t, s); }, mid);
    force_sum_ += dt_s * mid;
    if (fins_) fins_->advance(t_s_, dt_s);
    t_s_ += dt_s;
    watch(before, t_before_s);
}

/// Shortens a step so that it ends where `reached(state, t)` becomes true, then continues under the new motion.
template <class Reached>
void FlightModel::step_until(double dt_s, const Reached& reached) {
    Eigen::Vector3d mid;
    const auto rate = [this](double t, const BodyState& s) { return rate_of(t, s); };
    double low_s = 0.0;
    double high_s = dt_s;
    for (int i = 0; i < 45; ++i) {
        const double middle_s = 0.5 * (low_s + high_s);
        const BodyState trial = rk4_step(state_, t_s_, middle_s, rate, mid);
        (reached(trial, t_s_ + middle_s) ? high_s : low_s) = middle_s;
    }
    state_ = rk4_step(state_, t_s_, high_s, rate, mid);
    force_sum_ += high_s * mid;
    t_s_ += high_s;
}

Eigen::Vector3d FlightModel::advance_to(double target_s, double max_step_s) {
    const double begin_s = t_s_;
    force_sum_.setZero();
    // A remainder below a nanosecond is rounding.
    while (target_s - t_s_ > 1e-9) {
        double end_s = std::min(next_corner_s(target_s), t_s_ + max_step_s);
        if (target_s - end_s < 1e-9) end_s = target_s;
        const double dt_s = end_s - t_s_;
        const auto lifted = [this](const BodyState& s, double t) {
            return thrust_n(t) * std::cos(setup_.thrust_offset_rad) >
                   mass_kg(s) * setup_.gravity.at(0.0) * rail_enu_.z();
        };
        const auto off_rail = [this](const BodyState& s, double) {
            return s.position_enu_m.norm() >= setup_.rail_length_m;
        };
        if (motion_ == Motion::held && thrust_n(end_s) > 0.0 && lifted(state_, end_s)) {
            step_until(dt_s, lifted);
            motion_ = Motion::rail;
            events_.liftoff_s = t_s_;
            continue;
        }
        if (motion_ == Motion::rail) {
            Eigen::Vector3d mid;
            const BodyState trial = rk4_step(
                state_, t_s_, dt_s, [this](double t, const BodyState& s) { return rate_of(t, s); }, mid);
            if (off_rail(trial, end_s)) {
                step_until(dt_s, off_rail);
                motion_ = Motion::free;
                events_.rail_exit_s = t_s_;
                events_.rail_exit_speed_mps = state_.velocity_enu_mps.norm();
                continue;
            }
        }
        step(dt_s);
        if (motion_ == Motion::down) break;
    }
    return force_sum_ / std::max(t_s_ - begin_s, 1e-12);
}

double FlightModel::next_corner_s(double limit_s) const {
    const auto next = std::upper_bound(corners_s_.begin(), corners_s_.end(), t_s_ + 1e-9);
    return next == corners_s_.end() ? limit_s : std::min(limit_s, *next);
}

/// Finds what happened during a step and what it sets off.
void FlightModel::watch(const BodyState& before, double t_before_s) {
    if (motion_ != Motion::free) return;
    const double fall_before = before.velocity_enu_mps.z();
    const double fall_now = state_.velocity_enu_mps.z();
    if (std::isnan(events_.axial_zero_s) && t_s_ > setup_.ignition_s) {
        if (rate_of(t_s_, state_).specific_force_body_mps2.x() <= 0.0) events_.axial_zero_s = t_s_;
    }
    if (std::isnan(events_.apogee_s) && fall_before > 0.0 && fall_now <= 0.0) {
        const double fraction = fall_before / (fall_before - fall_now);
        events_.apogee_s = t_before_s + fraction * (t_s_ - t_before_s);
        events_.apogee_m = before.position_enu_m.z() + 0.5 * fraction * (t_s_ - t_before_s) * fall_before;
    }
    for (std::size_t i = 0; i < setup_.parachutes.size(); ++i) {
        const ParachuteTruth& parachute = setup_.parachutes[i];
        if (!triggered_[i] && !std::isnan(events_.apogee_s) &&
            (parachute.at_apogee || state_.position_enu_m.z() <= parachute.height_m)) {
            triggered_[i] = true;
            charge_at_s_[i] = (parachute.at_apogee ? events_.apogee_s : t_s_) + parachute.delay_s;
            if (charge_at_s_[i] < kNever_s) add_corner(charge_at_s_[i]);
        }
        if (t_s_ >= charge_at_s_[i] - 1e-9) {
            charge_at_s_[i] = kNever_s;
            eject(i);
        }
    }
    if (state_.position_enu_m.z() <= 0.0 && fall_now < 0.0) {
        const double drop = before.position_enu_m.z() - state_.position_enu_m.z();
        const double fraction = drop > 0.0 ? std::clamp(before.position_enu_m.z() / drop, 0.0, 1.0) : 1.0;
        events_.touchdown_s = t_before_s + fraction * (t_s_ - t_before_s);
        events_.touchdown_speed_mps = state_.velocity_enu_mps.norm();
        motion_ = Motion::down;
    }
}

void FlightModel::eject(std::size_t index) {
    const ParachuteTruth& parachute = setup_.parachutes[index];
    const EjectionCharge& charge = setup_.airframe.ejection;
    Random& random = setup_.ejection_random;
    events_.ejections.push_back({t_s_, index});
    separated_ = true;

    // A charge pushes along the axis: little of its moment is about that axis.
    Eigen::Vector3d kick = charge.torque_impulse_n_m_s * random.normal3();
    kick.x() *= 0.01;
    const double strength = charge.impulse_n_s * (1.0 + 0.1 * random.normal());
    const Eigen::Vector3d aside = strength * random.normal3().cwiseProduct(Eigen::Vector3d(0.0, 1.0, 1.0));
    add_pulse({.t_s = t_s_,
               .duration_s = charge.duration_s,
               .impulse_body_n_s = Eigen::Vector3d(-strength, 0.0, 0.0) + 0.06 * aside,
               .torque_impulse_body_n_m_s = kick});
    const Eigen::Vector3d back = Eigen::Vector3d(0.7 * strength, 0.0, 0.0) + 0.2 * aside;
    add_pulse({.t_s = t_s_ + kSnatchDelay_s,
               .duration_s = kSnatchDuration_s,
               .impulse_body_n_s = back,
               .torque_impulse_body_n_m_s = -0.4 * kick});
    const double mouth_opens_s = t_s_ + parachute.line_stretch_s;
    open_parachutes_.push_back({mouth_opens_s, parachute.fill_s, parachute.drag_area_m2});
    add_corner(mouth_opens_s);
    add_corner(mouth_opens_s + parachute.fill_s);
}

void FlightModel::add_pulse(const Pulse& pulse) {
    pulses_.push_back(pulse);
    add_corner(pulse.t_s);
    add_corner(pulse.t_s + pulse.duration_s);
}

void FlightModel::add_corner(double t_s) {
    corners_s_.insert(std::upper_bound(corners_s_.begin(), corners_s_.end(), t_s), t_s);
}

} // namespace turnstone::sim
