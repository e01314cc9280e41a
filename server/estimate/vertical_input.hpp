#pragma once
/// From body-mounted sensors to what the vertical filter takes: vertical acceleration with an honest 1-sigma, and how far
/// to believe a height taken from static pressure in fast air.
#include <optional>

#include "server/estimate/measurements.hpp"
#include "server/estimate/vertical_filter.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

/// Which way is up, from an attitude estimate.
struct TiltInput {
    Eigen::Vector3d up_body; ///< unit vector of local up, in body axes
    double sigma_rad;        ///< of its direction
};

struct VerticalAcceleration {
    double accel_up_mps2;    ///< coordinate acceleration, gravity removed
    double sigma_mps2;       ///< white
    double bias_growth_mps2; ///< by which the error that lasts may have changed since the last sample
};

/// Turns specific force into vertical acceleration.
///
/// With attitude: up . f - g, tilt error sigma_tilt |f|. Without: the long axis stands for the vertical, which holds on the pad
/// and, since after burn-out little but drag acts along the axis, up to apogee: a = f_x - g. A tilt of 10 degrees and scale
/// errors make that wrong by about 3 % of f_x; this is an error that lasts while f_x lasts, so it goes into the growth of the
/// filter's bias, not into white noise. At rest the magnitude of f is used when the vehicle does not stand upright.
/// After apogee the axis says nothing of the vertical without attitude: there is no vertical acceleration then, only
/// agitation(): how far |f| is from g, the size of accelerations to expect.
/// A sample within 2 % of the range's end is clipped: the true value is anywhere beyond, and its 1-sigma is half the range.
/// Deterministic; remembers only low-passed force. NaN components give no value.
class VerticalInput {
  public:
    /// `gravity_mps2` at the site.
    VerticalInput(const SensorNoise& sensors, double gravity_mps2);

    [[nodiscard]] std::optional<VerticalAcceleration> acceleration(const ImuSample& sample,
                                                                   const std::optional<TiltInput>& tilt, Motion motion);
    [[nodiscard]] double agitation_mps2(const ImuSample& sample) const noexcept;
    void reset();

  private:
    SensorNoise sensors_;
    double gravity_mps2_;
    std::int64_t t_ns_ = 0;
    bool started_ = false;
    double axial_slow_mps2_ = 0.0;  ///< f_x, 0.3 s
    double upright_ = 1.0;          ///< f_x / |f|, 1 s
};

/// 1-sigma of static pressure due to the air flowing past the ports, Pa: 0.4 % of dynamic pressure in subsonic flight, growing
/// from Mach 0.7 to 20 % at 0.8 and above. There shocks move over the body and the pressure at a port is anybody's guess; the
/// figure is chosen so that such a height weighs nothing beside the accelerometer, not measured.
[[nodiscard]] double port_error_sigma_pa(double mach, double dynamic_pressure_pa) noexcept;

} // namespace turnstone
