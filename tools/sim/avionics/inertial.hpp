#pragma once
/// Accelerometer and rate sensor as mounted: scale, misalignment, bias with its walk and its drift with temperature,
/// noise, rectified vibration, and a 16-bit converter that clips hard at the range.
#include "shared/vehicle.hpp"
#include "tools/sim/scenario/error_set.hpp"
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

inline constexpr double kImuPeriod_s = kTruthStep_s; ///< of the sensor itself; fewer may be sent

struct ImuReading {
    double t_s; ///< when it is complete: the mean over the interval that ends here
    Eigen::Vector3d accel_body_mps2;
    Eigen::Vector3d rate_body_radps;
};

/// What one unit gets wrong in the same way all flight long.
struct InertialUnit {
    Eigen::Matrix3d accel = Eigen::Matrix3d::Identity(); ///< from true body axes to what the axes feel
    Eigen::Matrix3d gyro = Eigen::Matrix3d::Identity();
    Eigen::Vector3d accel_mps2_per_k = Eigen::Vector3d::Zero();
    Eigen::Vector3d gyro_radps_per_k = Eigen::Vector3d::Zero();
    double scale_per_k = 0.0;
    Eigen::Vector3d rectification_s2_per_m = Eigen::Vector3d::Zero();
};
[[nodiscard]] InertialUnit draw_unit(const InertialErrors& errors, Shape shape, Random random);

/// What acts on the sensor besides the motion.
struct Surroundings {
    double vibration_mps2 = 0.0;
    double vibration_radps = 0.0;
    double warmed_k = 0.0; ///< since switch-on
};

class InertialSensor {
  public:
    InertialSensor(const SensorNoise& noise, Random random, const InertialUnit& unit = {});
    [[nodiscard]] ImuReading read(double t_s, const Eigen::Vector3d& specific_force_mps2,
                                  const Eigen::Vector3d& rate_radps, const Surroundings& around = {});
    [[nodiscard]] const Eigen::Vector3d& accel_bias_mps2() const { return accel_bias_mps2_; }
    [[nodiscard]] const Eigen::Vector3d& gyro_bias_radps() const { return gyro_bias_radps_; }

  private:
    SensorNoise noise_;
    Random random_;
    InertialUnit unit_;
    Eigen::Vector3d accel_bias_mps2_;
    Eigen::Vector3d gyro_bias_radps_;
};

} // namespace turnstone::sim
