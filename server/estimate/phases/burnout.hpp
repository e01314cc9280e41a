#pragma once
/// Under thrust: when it ends.
///
/// Inertial: axial force stays below kCoastForce_mps2. The end of the fall of thrust, not its middle. Barometer alone:
/// the vehicle brakes for good; the bend of the climb (climb_bend.hpp) says when.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class BurnoutWatch {
  public:
    static constexpr double kCoastForce_mps2 = 1.5;

    /// After each force; also of forces of the past, when a climb has been believed late. `liftoff_ns`: when thrust
    /// began.
    [[nodiscard]] MaybeFound force(const Force& force, const FlightEvidence& evidence, std::int64_t liftoff_ns);
    /// After each height.
    [[nodiscard]] MaybeFound height(const FlightEvidence& evidence, std::int64_t liftoff_ns);

  private:
    std::int64_t coast_began_ns_ = 0; ///< candidate; 0: none
    int coast_samples_ = 0;
};

} // namespace turnstone::estimate
