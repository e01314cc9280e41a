#pragma once
/// Where GNSS fixes say a resting vehicle is: along each axis a place that stays and an error that wanders (a
/// first-order Gauss-Markov process, SensorNoise::fix_correlation_s), told apart only by time. A minute on the pad
/// leaves their sum known to decimetres and each alone no better than the receiver's accuracy.
#include <cstdint>

#include "server/estimate/math/kalman.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class RestFixes {
  public:
    /// State: place, wandering error.
    using Axis = KalmanState<2>;

    explicit RestFixes(const SensorNoise& sensors);
    void clear();
    /// `sigma_m` as stated by the receiver or the file: of the whole error.
    void fix(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m);
    [[nodiscard]] bool empty() const noexcept { return count_ == 0; }
    /// Meaningful unless empty().
    [[nodiscard]] const Axis& axis(int index) const { return axes_[index]; }
    [[nodiscard]] Eigen::Vector3d place_enu_m() const;

  private:
    double correlation_s_, correlated_share_;
    Axis axes_[3];
    std::int64_t t_ns_ = 0;
    int count_ = 0;
};

} // namespace turnstone::estimate
