#pragma once
/// Under thrust: when it ends.
///
/// Inertial: axial force stays below kCoastForce_mps2. Dated to the end of the fall of thrust, not its middle.
/// Barometer alone: the vehicle brakes and goes on braking; the bend of the climb (climb_bend.hpp) says since when.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class BurnoutWatch {
  public:
    static constexpr double kCoastForce_mps2 = 1.5;

    /// After each force; also for past forces, when a climb was recognised late. `liftoff_ns`: when thrust began.
    [[nodiscard]] MaybeFound force(const Force& force, const FlightEvidence& evidence, std::int64_t liftoff_ns);
    /// After each height.
    [[nodiscard]] MaybeFound height(const FlightEvidence& evidence, std::int64_t liftoff_ns);

  private:
    std::int64_t coast_began_ns_ = 0; ///< candidate; 0: none
    int coast_samples_ = 0;
};

} // namespace turnstone::estimate
