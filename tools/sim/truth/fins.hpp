#pragma once
/// Steerable fins: one deflection for each body axis (how several fins mix them is the vehicle's own affair), each
/// moved by a drive that lags, waits, and goes no faster and no further than it can.
#include <algorithm>
#include <cmath>
#include <deque>

#include <Eigen/Core>

namespace turnstone::sim {

/// Positive deflections turn the body in the positive sense about their axis.
struct FinDrive {
    double roll_effect_m;  ///< roll moment = dynamic pressure * S * this * deflection
    double pitch_effect_m; ///< the same about y and z
    double arm_m;          ///< of the fins behind the centre of mass: their side force is moment / arm
    double limit_rad;
    double rate_limit_radps;
    double lag_s;
    double delay_s;   ///< from a command's arrival to the first motion
    double noise_rad; ///< 1-sigma of a measured deflection
};

class Fins {
  public:
    explicit Fins(const FinDrive& drive) : drive_(drive) {}

    /// From `t_s` on; times ascend.
    void command(double t_s, const Eigen::Vector3d& deflection_rad) {
        commanded_rad_ = deflection_rad;
        waiting_.push_back({t_s + drive_.delay_s, deflection_rad});
    }
    /// From `t_s` to `t_s + dt_s`, a step much shorter than the lag.
    void advance(double t_s, double dt_s) {
        while (!waiting_.empty() && waiting_.front().t_s <= t_s + 1e-9) {
            target_rad_ = waiting_.front().deflection_rad.cwiseMin(drive_.limit_rad).cwiseMax(-drive_.limit_rad);
            waiting_.pop_front();
        }
        const double part = 1.0 - std::exp(-dt_s / drive_.lag_s);
        const double most = drive_.rate_limit_radps * dt_s;
        deflection_rad_ += (part * (target_rad_ - deflection_rad_)).cwiseMin(most).cwiseMax(-most);
    }
    [[nodiscard]] const Eigen::Vector3d& deflection_rad() const { return deflection_rad_; }
    [[nodiscard]] const Eigen::Vector3d& commanded_rad() const { return commanded_rad_; }
    [[nodiscard]] const FinDrive& drive() const { return drive_; }

  private:
    struct Waiting {
        double t_s;
        Eigen::Vector3d deflection_rad;
    };

    FinDrive drive_;
    std::deque<Waiting> waiting_;
    Eigen::Vector3d commanded_rad_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d target_rad_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d deflection_rad_ = Eigen::Vector3d::Zero();
};

} // namespace turnstone::sim
