#include "server/estimate/vertical/vertical_input.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kAcrossAxis_mps2 = 2.0; ///< white, per sample
constexpr double kScatterTime_s = 0.3;
constexpr double kScatterGrows = 9.0;       ///< a step is not scatter, lasting vibration is
constexpr double kChangeShare = 1.0 / 12.0; ///< of the square of a change, anywhere in an interval
constexpr double kUprightTime_s = 1.0;
constexpr double kTurnedOver_s = 5.0;    ///< drag that slows a climb feels like rest upside down, but not for long
constexpr double kUpsideDown = 0.9;      ///< cosine of how nearly
constexpr double kTurnTime_s = 0.3;      ///< for which one of the other axes points up
constexpr double kNoSwing_mps2 = 30.0;   ///< beyond gravity: no swinging
constexpr double kShakeTime_s = 0.1;     ///< what shakes it faster moves it nowhere
constexpr double kPathTurns_mps = 12.0;  ///< half the speed of fall under a drogue: force times time turns a path by it
constexpr double kLeansOver_mps2 = 0.3;  ///< of drag, while a body leans over
constexpr double kTiltTime_s = 0.5;      ///< a known attitude's error stays what it is for so long
constexpr double kLeanTime_s = 2.0;      ///< an unknown lean stays what it is for so long
constexpr double kStillForce_mps2 = 0.5; ///< beside bias and noise
constexpr double kStillAtFirst_s = 0.1;
constexpr double kBeyondRange = 0.25; ///< of the range: how far a clipped sample's truth is beyond it

} // namespace

VerticalInput::VerticalInput(const SensorNoise& sensors, double gravity_mps2)
    : sensors_(sensors), gravity_mps2_(gravity_mps2) {}

void VerticalInput::reset() {
    *this = VerticalInput(sensors_, gravity_mps2_);
}

double VerticalInput::agitation_mps2(const ImuSample& sample) noexcept {
    const double magnitude = sample.accel_body_mps2.norm();
    up_body_ = Eigen::Vector3d::UnitX(); // however it hung before, it comes to lie anyhow
    still_s_ = 0.0;
    started_ = false; // the next force that is followed has nothing to do with the last one
    if (!std::isfinite(magnitude)) return gravity_mps2_;
    const double dt_s = t_jolt_ns_ == 0 ? 0.0 : std::clamp(seconds_between(t_jolt_ns_, sample.t_ns), 0.0, 0.5);
    across_ *= std::exp(-std::min(magnitude, gravity_mps2_) * dt_s / kPathTurns_mps);
    beyond_mps2_ += -std::expm1(-dt_s / kShakeTime_s) * (magnitude - gravity_mps2_ - beyond_mps2_);
    return std::hypot(beyond_mps2_, across_ * magnitude);
}

double VerticalInput::jolt_mps(const ImuSample& sample) {
    const double dt_s = std::clamp(seconds_between(t_jolt_ns_, sample.t_ns), 0.0, 0.1);
    t_jolt_ns_ = sample.t_ns;
    const double beyond_mps2 = sample.accel_body_mps2.norm() - gravity_mps2_;
    if (!(beyond_mps2 > kNoSwing_mps2)) {
        impulse_mps_ = 0.0;
        return 0.0;
    }
    const double before_mps = impulse_mps_;
    impulse_mps_ += beyond_mps2 * dt_s;
    return std::sqrt(impulse_mps_ * impulse_mps_ - before_mps * before_mps);
}

void VerticalInput::follow(const ImuSample& sample) {
    const Eigen::Vector3d& force = sample.accel_body_mps2;
    const double dt_s = started_ ? std::clamp(seconds_between(t_ns_, sample.t_ns), 0.0, 1.0) : 0.0;
    change_ = 0.0;
    if (started_) {
        const Eigen::Vector3d change = force - before_mps2_;
        change_ = std::isfinite(change.norm()) ? std::sqrt(change.squaredNorm() / 3.0) : std::fabs(change.x());
        change_ = std::max(change_, std::fabs(change.x()));
        // Lost samples hide how it changed.
        const double own = sensors_.accel_noise_mps2;
        const double half_square = std::min(0.5 * change_ * change_, kScatterGrows * std::max(scatter2_, own * own));
        scatter2_ += -std::expm1(-dt_s / kScatterTime_s) * (half_square - scatter2_);
    }
    if (dt_s > 0) interval_s_ = dt_s;
    t_ns_ = sample.t_ns;
    started_ = true;
    before_mps2_ = force;
    const double magnitude = force.norm(); // NaN when lateral axes are missing
    const double still_mps2 = kStillForce_mps2 + 3.0 * std::hypot(sensors_.accel_noise_mps2, sensors_.accel_bias_mps2);
    if (!(std::fabs(magnitude - gravity_mps2_) < still_mps2)) {
        still_s_ = 0.0;
        return;
    }
    still_s_ += dt_s;
    const bool at_first = still_s_ < kStillAtFirst_s && up_body_ == Eigen::Vector3d::UnitX();
    const double upright = force.dot(up_body_) / magnitude;
    const bool upside_down = !at_first && upright < -kUpsideDown;
    over_s_ = upside_down ? over_s_ + dt_s : 0.0;
    if (upside_down && over_s_ < kTurnedOver_s) return;
    const double part = at_first || upright < 0.0 ? 1.0 : -std::expm1(-dt_s / kUprightTime_s);
    up_body_ = (up_body_ + part * (force / magnitude - up_body_)).normalized();
}

double VerticalInput::white_mps2() const noexcept {
    const double own = sensors_.accel_noise_mps2;
    return std::sqrt(std::max(own * own, scatter2_) + kChangeShare * change_ * change_);
}

std::optional<VerticalAcceleration> VerticalInput::acceleration(const ImuSample& sample,
                                                                const std::optional<TiltInput>& tilt, Motion motion) {
    const Eigen::Vector3d& force = sample.accel_body_mps2;
    const double axial = force.x();
    if (!std::isfinite(axial)) return std::nullopt;
    across_ = 1.0;
    beyond_mps2_ = -gravity_mps2_;
    const bool all_axes = std::isfinite(force.norm());
    follow(sample);

    const double range = sensors_.accel_range_mps2;
    const double clips = 0.98 * range;
    const bool across = std::fabs(force.y()) > clips || std::fabs(force.z()) > clips;
    const double white = across || axial < -clips ? 0.5 * range : white_mps2();

    const bool resting = motion == Motion::rest || motion == Motion::moving;
    // What the axis misses of gravity at rest is taken for bias.
    VerticalAcceleration out{axial, white, resting ? axial - gravity_mps2_ : axial, {}, false};
    // As much as white noise that adds up to what a lasting error does.
    const auto lasts = [&](double time_s) { return std::sqrt(std::max(1.0, 2.0 * time_s / interval_s_)); };
    if (tilt && all_axes) {
        const double up = tilt->up_body.dot(force);
        const double by_tilt_mps2 = tilt->sigma_rad * (force - up * tilt->up_body).norm() * lasts(kTiltTime_s);
        if (motion == Motion::rest || up_at_rest_.isZero()) up_at_rest_ = tilt->up_body;
        const double share = up_at_rest_.dot(tilt->up_body);
        // Those of the other axes, whatever a roll makes of them.
        const double by_bias_mps2 =
            sensors_.accel_bias_mps2 * std::sqrt(std::max(0.0, 1.0 - share * share)) * lasts(kTurnTime_s);
        out = {.accel_up_mps2 = up,
               .sigma_mps2 = std::hypot(white, by_tilt_mps2, by_bias_mps2),
               .force_mps2 = up - share * gravity_mps2_,
               .fraction = {0.0, sensors_.accel_scale, 0.001},
               .bias_share = share};
    } else if (resting && all_axes) {
        out.accel_up_mps2 = up_body_.dot(force);
        out.force_mps2 = out.accel_up_mps2 - gravity_mps2_;
        // It has left the pose in which up was seen.
        if (motion == Motion::moving) {
            out.sigma_mps2 = std::hypot(white, kAcrossAxis_mps2);
            out.bias_walk_mps2_rts = kAcrossAxis_mps2;
        }
    } else if (motion == Motion::coast) {
        // Lift of the body that leans over near apogee pushes across the axis, unfelt by it, and what little drag the
        // axis feels there acts across the vertical.
        out.sigma_mps2 =
            std::hypot(white, kAcrossAxis_mps2, std::min(std::fabs(axial), kLeansOver_mps2) * lasts(kLeanTime_s));
    }
    if (!tilt) up_at_rest_.setZero();
    out.accel_up_mps2 -= gravity_mps2_;
    if (axial > clips && !across) {
        out.clipped = true;
        out.sigma_mps2 = kBeyondRange * range;
    }
    return out;
}

double port_noise_pa(double mach, double dynamic_pressure_pa) noexcept {
    if (!(mach > 0.0) || !std::isfinite(dynamic_pressure_pa)) return 0.0;
    constexpr double kSubsonicFraction = 0.001;
    constexpr double kTransonicFraction = 0.3;
    const double ramp = std::clamp((mach - 0.7) / 0.1, 0.0, 1.0);
    return (kSubsonicFraction + ramp * (kTransonicFraction - kSubsonicFraction)) * dynamic_pressure_pa;
}

} // namespace turnstone::estimate
