#include "server/estimate/vertical/vertical_input.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kAcrossAxis_mps2 = 2.0; ///< white, per sample
constexpr double kScaleFraction = 0.005; ///< accelerometer scale error when attitude is known
constexpr double kUprightTime_s = 1.0;

} // namespace

VerticalInput::VerticalInput(const SensorNoise& sensors, double gravity_mps2)
    : sensors_(sensors), gravity_mps2_(gravity_mps2) {}

void VerticalInput::reset() {
    started_ = false;
    upright_ = 1.0;
}

double VerticalInput::agitation_mps2(const ImuSample& sample) const noexcept {
    const double magnitude = sample.accel_body_mps2.norm();
    return std::isfinite(magnitude) ? std::hypot(1.0, magnitude - gravity_mps2_) : gravity_mps2_;
}

std::optional<VerticalAcceleration> VerticalInput::acceleration(const ImuSample& sample,
                                                                const std::optional<TiltInput>& tilt, Motion motion) {
    const double axial = sample.accel_body_mps2.x();
    if (!std::isfinite(axial)) return std::nullopt;
    const double magnitude = sample.accel_body_mps2.norm(); // NaN when lateral axes are missing
    const double dt_s = started_ ? std::clamp(seconds_between(t_ns_, sample.t_ns), 0.0, 1.0) : 0.0;
    t_ns_ = sample.t_ns;
    started_ = true;

    const double range = sensors_.accel_range_mps2;
    const bool clipped = sample.accel_body_mps2.cwiseAbs().maxCoeff() > 0.98 * range || std::fabs(axial) > 0.98 * range;
    const double white = clipped ? 0.5 * range : sensors_.accel_noise_mps2;

    if (tilt && std::isfinite(magnitude)) {
        const double up = tilt->up_body.dot(sample.accel_body_mps2);
        const double sigma = std::hypot(white, tilt->sigma_rad * magnitude);
        return VerticalAcceleration{
            up - gravity_mps2_, sigma, motion == Motion::rest ? 0.0 : up, {0.0, kScaleFraction, 0.001}};
    }
    if (motion == Motion::rest && std::isfinite(magnitude) && magnitude > 0.0) {
        upright_ += (1.0 - std::exp(-dt_s / kUprightTime_s)) * (axial / magnitude - upright_);
        if (upright_ < 0.85) return VerticalAcceleration{magnitude - gravity_mps2_, white, 0.0, {}};
    }
    // Lift of the body that leans over near apogee pushes across the axis, unfelt by it.
    const double unfelt = motion == Motion::coast ? kAcrossAxis_mps2 : 0.0;
    return VerticalAcceleration{
        axial - gravity_mps2_, std::hypot(white, unfelt), motion == Motion::rest ? 0.0 : axial, {}};
}

double port_noise_pa(double mach, double dynamic_pressure_pa) noexcept {
    if (!(mach > 0.0) || !std::isfinite(dynamic_pressure_pa)) return 0.0;
    constexpr double kSubsonicFraction = 0.001;
    constexpr double kTransonicFraction = 0.3;
    const double ramp = std::clamp((mach - 0.7) / 0.1, 0.0, 1.0);
    return (kSubsonicFraction + ramp * (kTransonicFraction - kSubsonicFraction)) * dynamic_pressure_pa;
}

} // namespace turnstone::estimate
