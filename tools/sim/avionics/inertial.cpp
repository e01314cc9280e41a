#include "tools/sim/avionics/inertial.hpp"

#include <algorithm>
#include <cmath>

namespace turnstone::sim {

namespace {

constexpr double kConverterSteps = 32768.0; ///< 16-bit, both signs

Eigen::Vector3d converted(const Eigen::Vector3d& value, double range) {
    const double step = range / kConverterSteps;
    return value.unaryExpr([&](double v) { return std::clamp(std::round(v / step) * step, -range, range - step); });
}

Eigen::Vector3d draw3(Random& random, Shape shape, double sigma) {
    const double x = draw(random, shape), y = draw(random, shape);
    return sigma * Eigen::Vector3d(x, y, draw(random, shape));
}

/// Each axis has its own scale and its own small angles from the vehicle's axes.
Eigen::Matrix3d mounting(Random& random, Shape shape, double scale, double misalignment_rad) {
    Eigen::Matrix3d out = Eigen::Matrix3d::Identity();
    for (Eigen::Index row = 0; row < 3; ++row)
        for (Eigen::Index column = 0; column < 3; ++column)
            out(row, column) += (row == column ? scale : misalignment_rad) * draw(random, shape);
    return out;
}

} // namespace

InertialUnit draw_unit(const InertialErrors& errors, Shape shape, Random random) {
    InertialUnit unit;
    unit.accel = mounting(random, shape, errors.accel_scale, errors.accel_misalignment_rad);
    unit.gyro = mounting(random, shape, errors.gyro_scale, errors.gyro_misalignment_rad);
    unit.accel_mps2_per_k = draw3(random, shape, errors.accel_mps2_per_k);
    unit.gyro_radps_per_k = draw3(random, shape, errors.gyro_radps_per_k);
    unit.scale_per_k = errors.scale_per_k * draw(random, shape);
    unit.rectification_s2_per_m = draw3(random, shape, errors.rectification_s2_per_m);
    return unit;
}

InertialSensor::InertialSensor(const SensorNoise& noise, Random random, const InertialUnit& unit)
    : noise_(noise), random_(random), unit_(unit) {
    accel_bias_mps2_ = noise_.accel_bias_mps2 * random_.normal3();
    gyro_bias_radps_ = noise_.gyro_bias_radps * random_.normal3();
}

ImuReading InertialSensor::read(double t_s, const Eigen::Vector3d& specific_force_mps2,
                                const Eigen::Vector3d& rate_radps, const Surroundings& around) {
    const double root_s = std::sqrt(kImuPeriod_s);
    accel_bias_mps2_ += noise_.accel_bias_walk_mps2_rts * root_s * random_.normal3();
    gyro_bias_radps_ += noise_.gyro_bias_walk_radps_rts * root_s * random_.normal3();
    const double accel_sigma = std::hypot(noise_.accel_noise_mps2, around.vibration_mps2);
    const double gyro_sigma = std::hypot(noise_.gyro_noise_radps, around.vibration_radps);
    const double warm_scale = 1.0 + unit_.scale_per_k * around.warmed_k;
    const Eigen::Vector3d accel_offset = accel_bias_mps2_ + unit_.accel_mps2_per_k * around.warmed_k +
                                         unit_.rectification_s2_per_m * (around.vibration_mps2 * around.vibration_mps2);
    const Eigen::Vector3d gyro_offset = gyro_bias_radps_ + unit_.gyro_radps_per_k * around.warmed_k;
    ImuReading reading;
    reading.t_s = t_s;
    reading.accel_body_mps2 =
        converted(warm_scale * (unit_.accel * specific_force_mps2) + accel_offset + accel_sigma * random_.normal3(),
                  noise_.accel_range_mps2);
    reading.rate_body_radps = converted(
        warm_scale * (unit_.gyro * rate_radps) + gyro_offset + gyro_sigma * random_.normal3(), noise_.gyro_range_radps);
    return reading;
}

} // namespace turnstone::sim
