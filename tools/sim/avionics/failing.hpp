#pragma once
/// What the first ejection leaves of a sensor.
#include "tools/sim/scenario/scenario.hpp"
#include "tools/sim/truth/random.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

class FailingBarometer {
  public:
    FailingBarometer(const Truth& truth, const Scenario& scenario, Random random);
    [[nodiscard]] double operator()(double reading_pa, double t_s, double last_pa);

  private:
    BarometerFault fault_;
    double noise_pa_;
    double from_s_;
    Random random_;
};

class FailingInertial {
  public:
    FailingInertial(const Truth& truth, const Scenario& scenario, Random random);
    /// `noise`: of these readings over what the vehicle file states.
    void operator()(double t_s, double noise, Eigen::Vector3d& accel_mps2, Eigen::Vector3d& rate_radps);

  private:
    InertialFault fault_;
    double accel_noise_mps2_, gyro_noise_radps_;
    double from_s_;
    Random random_;
    Eigen::Vector3d last_accel_mps2_ = Eigen::Vector3d::Zero(), last_rate_radps_ = Eigen::Vector3d::Zero();
};

} // namespace turnstone::sim
