#pragma once
/// From body-mounted sensors to the inputs of the vertical filter: vertical acceleration with its 1-sigma, and how far
/// to believe a height from static pressure in fast air.
#include <optional>

#include "server/estimate/measurements.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// Which way is up, from an attitude estimate.
struct TiltInput {
    Eigen::Vector3d up_body; ///< unit vector of local up, in body axes
    double sigma_rad;        ///< of its direction
};

struct VerticalAcceleration {
    double accel_up_mps2; ///< coordinate acceleration, gravity removed
    double sigma_mps2;    ///< white; of a clipped sample, about how far beyond it the truth is
    double force_mps2;    ///< what AxisFraction is a fraction of: gravity's part is in the bias seen at rest
    AxisFraction fraction;
    bool clipped = false;    ///< upwards: the value is a lower bound
    double bias_share = 1.0; ///< of the bias seen at rest: the less, the more other axes take over the vertical
    double bias_walk_mps2_rts = 0.0;
};

/// Turns specific force into vertical acceleration.
///
/// With attitude: up . f - g. Without: the long axis stands for the vertical, which holds on the pad and, since after
/// burnout little but drag acts along the axis, up to apogee: a = f_x - g. At rest, up is where the force pointed in
/// the last still second, whatever the posture: the magnitude of the force would turn every shock into a climb. Tilt
/// and scale errors take a part in proportion to the force, for as long as it acts, so it is not noise: the filter
/// estimates it (AxisFraction). After apogee the axis says nothing of the vertical without attitude: it gives no
/// vertical acceleration then, only agitation(): the size of accelerations to expect, which is how far |f| is from g,
/// and all of |f| while the path is still flat behind apogee, since drag acts along the path.
///
/// Noise follows the scatter from sample to sample, since a running motor or a charge shakes the sensor far beyond its
/// own noise, and one sample stands for an interval in which the force changed. A sample within 2 % of the range's end
/// is clipped: along the axis it is a lower bound, on another axis its 1-sigma is half the range. Deterministic;
/// remembers only low-passed force. NaN components give no value.
class VerticalInput {
  public:
    /// `gravity_mps2` at the site.
    VerticalInput(const SensorNoise& sensors, double gravity_mps2);

    /// Where the accelerometer clips, m/s².
    void set_accel_range(double range_mps2) noexcept { sensors_.accel_range_mps2 = range_mps2; }
    [[nodiscard]] std::optional<VerticalAcceleration> acceleration(const ImuSample& sample,
                                                                   const std::optional<TiltInput>& tilt, Motion motion);
    /// In descent, before jolt_mps().
    [[nodiscard]] double agitation_mps2(const ImuSample& sample) noexcept;
    /// In descent: what a shock did to the speed in this sample, beside what it has done so far. A shock pushes one
    /// way, so that its parts add up and not their squares.
    [[nodiscard]] double jolt_mps(const ImuSample& sample);
    void reset();

  private:
    void follow(const ImuSample& sample);
    [[nodiscard]] double white_mps2() const noexcept;

    SensorNoise sensors_;
    double gravity_mps2_;
    std::int64_t t_ns_ = 0;
    double interval_s_ = 0.01;
    bool started_ = false;
    Eigen::Vector3d before_mps2_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d up_body_ = Eigen::Vector3d::UnitX();
    double still_s_ = 0, over_s_ = 0;
    Eigen::Vector3d up_at_rest_ = Eigen::Vector3d::Zero(); ///< where attitude last had it at rest, or first; 0: none
    std::int64_t t_jolt_ns_ = 0;
    double beyond_mps2_ = -gravity_mps2_; ///< |f| - g behind apogee, without what shakes the sensor
    double across_ = 1; ///< fraction of |f| that may not act upwards: drag pulls against a path that is flat at apogee
    double impulse_mps_ = 0; ///< of the shock under way
    double scatter2_ = 0;    ///< mean square along the axis from sample to sample, halved
    double change_ = 0;      ///< along the axis, to the newest sample
};

/// Noise of static pressure due to the air flowing past the ports, beyond the steady coefficient that the filter
/// estimates, Pa: 0.1 % of dynamic pressure in subsonic flight, growing from Mach 0.7 to 30 % at 0.8 and above. There
/// shocks move over the body and the pressure at a port is anybody's guess. The figure is not measured: it is chosen so
/// that such a height counts for nothing beside the accelerometer.
[[nodiscard]] double port_noise_pa(double mach, double dynamic_pressure_pa) noexcept;

} // namespace turnstone::estimate
