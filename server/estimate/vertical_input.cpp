#include "server/estimate/vertical_input.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kAxisShare = 0.03;        ///< tilt of 10 degrees (1.5 %), scale and misalignment
constexpr double kScaleShare = 0.005;      ///< accelerometer scale error when attitude is known
constexpr double kAxialTime_s = 0.3;
constexpr double kUprightTime_s = 1.0;
constexpr double kTiltChangeTime_s = 5.0;  ///< over which tilt changes in ascent

} // namespace

VerticalInput::VerticalInput(const SensorNoise& sensors, double gravity_mps2)
    : sensors_(sensors), gravity_mps2_(gravity_mps2) {}

void VerticalInput::reset() {
    started_ = false;
    axial_slow_mps2_ = 0.0;
    upright_ = 1.0;
}

double VerticalInput::agitation_mps2(const ImuSample& sample) const noexcept {
    const double magnitude = sample.accel_body_mps2.norm();
    return std::isfinite(magnitude) ? std::hypot(2.0, magnitude - gravity_mps2_) : gravity_mps2_;
}

std::optional<VerticalAcceleration> VerticalInput::acceleration(const ImuSample& sample,
                                                                const std::optional<TiltInput>& tilt, Motion motion) {
    const double axial = sample.accel_body_mps2.x();
    if (!std::isfinite(axial)) return std::nullopt;
    const double magnitude = sample.accel_body_mps2.norm(); // NaN when lateral axes are missing
    const double dt_s = started_ ? std::clamp(seconds_between(t_ns_, sample.t_ns), 0.0, 1.0) : 0.0;
    if (!started_) axial_slow_mps2_ = axial;
    t_ns_ = sample.t_ns;
    started_ = true;

    const double range = sensors_.accel_range_mps2;
    const bool clipped = sample.accel_body_mps2.cwiseAbs().maxCoeff() > 0.98 * range || std::fabs(axial) > 0.98 * range;
    const double white = clipped ? 0.5 * range : sensors_.accel_noise_mps2;

    const double axial_before = axial_slow_mps2_;
    axial_slow_mps2_ += (1.0 - std::exp(-dt_s / kAxialTime_s)) * (axial - axial_slow_mps2_);
    const bool aligned = tilt && std::isfinite(magnitude);
    const double share = aligned ? std::hypot(kScaleShare, tilt->sigma_rad) : kAxisShare;
    const double change = 2.0 * dt_s / kAxialTime_s * (axial - axial_before) * (axial - axial_before) +
                          dt_s / kTiltChangeTime_s * axial * axial;
    const double growth = motion == Motion::rest ? 0.0 : share * std::sqrt(change);

    if (aligned) return VerticalAcceleration{tilt->up_body.dot(sample.accel_body_mps2) - gravity_mps2_, white, growth};
    if (motion == Motion::rest && std::isfinite(magnitude) && magnitude > 0.0) {
        upright_ += (1.0 - std::exp(-dt_s / kUprightTime_s)) * (axial / magnitude - upright_);
        if (upright_ < 0.85) return VerticalAcceleration{magnitude - gravity_mps2_, white, growth};
    }
    return VerticalAcceleration{axial - gravity_mps2_, white, growth};
}

double port_error_sigma_pa(double mach, double dynamic_pressure_pa) noexcept {
    if (!(mach > 0.0) || !std::isfinite(dynamic_pressure_pa)) return 0.0;
    constexpr double kSubsonicShare = 0.004;
    constexpr double kTransonicShare = 0.2;
    const double ramp = std::clamp((mach - 0.7) / 0.1, 0.0, 1.0);
    return (kSubsonicShare + ramp * (kTransonicShare - kSubsonicShare)) * dynamic_pressure_pa;
}

} // namespace turnstone
