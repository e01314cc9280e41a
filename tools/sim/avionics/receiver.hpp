#pragma once
/// GNSS receiver: errors of which most last for a minute, a delay to the hand-over that is not quite what the data
/// sheet says, loss of lock at high acceleration, speed or height, and first fixes that are still off after a loss
/// under acceleration.
#include <GeographicLib/LocalCartesian.hpp>

#include "tools/sim/scenario/scenario.hpp"

namespace turnstone::sim {

struct FixReading {
    double t_s;         ///< when the receiver hands it over
    double t_valid_s;   ///< when it was true
    int fix_dimensions; ///< 1 none (the numbers repeat the last fix), 3 3-D
    int satellites;
    double latitude_deg;
    double longitude_deg;
    double height_msl_m;
    Eigen::Vector3d velocity_enu_mps;
    double accuracy_horizontal_m;
    double accuracy_vertical_m;
    double accuracy_speed_mps;
};

/// One step of a first-order Gauss-Markov process of unit variance: what is kept, and the variance of what is added.
struct LastingStep {
    double keep;
    double added;
};
[[nodiscard]] LastingStep lasting_step(double dt_s, double correlation_s);

/// First-order Gauss-Markov process of unit variance, one component for each axis.
class LastingError {
  public:
    LastingError(double correlation_s, Random random);
    /// Moves on by `dt_s`, exactly.
    [[nodiscard]] const Eigen::Vector3d& after(double dt_s);

  private:
    double correlation_s_;
    Random random_;
    Eigen::Vector3d value_;
};

class Receiver {
  public:
    /// `scenario` must outlive it.
    Receiver(const Scenario& scenario, std::uint64_t seed);
    /// Every truth sample.
    void feel(const TruthSample& sample);
    [[nodiscard]] FixReading read(const TruthSample& sample, const FlightEvents& events);

  private:
    [[nodiscard]] bool locked(const TruthSample& sample, const FlightEvents& events) const;
    void take(const TruthSample& sample, const Eigen::Vector3d& white, const Eigen::Vector3d& speed_white,
              double spread);

    const Scenario* scenario_;
    GeographicLib::LocalCartesian frame_; ///< not shared/geodesy.hpp, so that a slip there shows in comparisons
    Random random_;
    Random flight_; ///< what is drawn once a flight, or once a loss
    LastingError lasting_;
    double delay_s_;
    double datum_m_;
    double rough_s_ = 0.0;
    double locked_again_s_ = 0.0;
    double t_read_s_ = 0.0;
    Eigen::Vector3d relock_m_ = Eigen::Vector3d::Zero(); ///< error of the first fix after the last loss
    Eigen::Vector3d relock_mps_ = Eigen::Vector3d::Zero();
    FixReading last_{};
};

} // namespace turnstone::sim
