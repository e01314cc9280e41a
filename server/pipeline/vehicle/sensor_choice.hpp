#pragma once
/// Which of two sensors for one role to use: the low-range accelerometer until it nears its range; the first barometer
/// until it fails.
#include <array>
#include <cstddef>
#include <cstdint>

#include <Eigen/Core>

#include "shared/constants.hpp"

namespace turnstone {

/// Two accelerometers. The low-range one, first by its range, has the finer steps: its samples are used until one of
/// its axes passes nine tenths of the range, and again a quarter of a second after the last that did, as far as the
/// other one is heard at all. Where the low-range one falls silent, the other takes over.
class AccelerometerChoice {
  public:
    /// `range_mps2` of each: both directions alike.
    explicit AccelerometerChoice(const std::array<double, 2>& range_mps2);
    /// Whether to use this sample of that sensor.
    [[nodiscard]] bool use(std::size_t sensor, std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2) noexcept;

  private:
    std::size_t low_;
    double near_range_mps2_;
    std::int64_t t_near_ns_ = 0;
    std::array<std::int64_t, 2> t_heard_ns_{};
    std::int64_t t_used_ns_ = 0;
};

/// Two barometers. The first is used while it is healthy: its values are possible, change now and then, and come. The
/// other one's stand in for it with the mean difference between the two, as long as both were healthy, taken off.
class BarometerChoice {
  public:
    /// The pressure to use, NaN: not this one.
    [[nodiscard]] double use(std::size_t sensor, std::int64_t t_ns, double pressure_pa) noexcept;

  private:
    struct Barometer {
        double pressure_pa = kNaN;
        std::int64_t t_heard_ns = 0, t_changed_ns = 0, t_possible_ns = 0;
        [[nodiscard]] bool healthy(std::int64_t t_ns) const noexcept;
    };
    std::array<Barometer, 2> barometers_;
    double second_less_first_pa_ = 0;
    double differences_ = 0; ///< how many are in the mean
};

} // namespace turnstone
