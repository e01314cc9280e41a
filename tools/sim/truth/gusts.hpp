#pragma once
/// Turbulence along the path of a vehicle through a frozen field: the Dryden form of MIL-F-8785C, low-altitude model,
/// with spectra
///
///     longitudinal  2 s^2 L / (pi V) / (1 + (L w / V)^2)
///     transverse      s^2 L / (pi V) (1 + 3 (L w / V)^2) / (1 + (L w / V)^2)^2
///
/// one-sided in w (rad/s). Both are sampled exactly, whatever airspeed and step: with x = V dt / L the first is a
/// first-order process; the second is the output s1 + sqrt(3) s2 of ds1 = s2 dx, ds2 = -(s1 + 2 s2) dx + dW.
#include <Eigen/Core>

#include "tools/sim/truth/random.hpp"

namespace turnstone::sim {

/// Scale lengths and intensities at a height above ground. Below 10 ft those of 10 ft; above 1000 ft, where the
/// specification goes on with another table, those of 1000 ft.
struct DrydenScale {
    double length_horizontal_m;
    double length_vertical_m;
    double sigma_horizontal_mps;
    double sigma_vertical_mps;
};
/// `wind20_mps`: mean wind 20 ft above ground.
[[nodiscard]] DrydenScale dryden_scale(double height_m, double wind20_mps);

/// How the two states of the transverse process move over `x` scale lengths: the transition, and the covariance of
/// what is added.
struct TransverseStep {
    Eigen::Matrix2d transition;
    Eigen::Matrix2d added;
};
[[nodiscard]] TransverseStep transverse_step(double x);

/// Gusts along the mean wind, across it and upwards.
class Gusts {
  public:
    /// Begins in the stationary distribution.
    explicit Gusts(Random random);
    void advance(double dt_s, double airspeed_mps, const DrydenScale& scale);
    [[nodiscard]] const Eigen::Vector3d& along_across_up_mps() const { return gust_mps_; }

  private:
    [[nodiscard]] double transverse(Eigen::Vector2d& state, double x);

    Random random_;
    double along_;
    Eigen::Vector2d across_;
    Eigen::Vector2d up_;
    Eigen::Vector3d gust_mps_ = Eigen::Vector3d::Zero();
};

} // namespace turnstone::sim
