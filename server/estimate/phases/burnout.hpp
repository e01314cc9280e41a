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

    // Under thrust.
    //
    /// After each force.
    [[nodiscard]] MaybeFound force(const Sight& sight);
    /// Once, when a climb was recognised late: thrust may have ended before.
    [[nodiscard]] MaybeFound past_forces(const Sight& sight);
    /// After each height.
    [[nodiscard]] MaybeFound height(const Sight& sight);

    /// A phase begins.
    void begin(EventId) noexcept { *this = BurnoutWatch(); }

  private:
    [[nodiscard]] MaybeFound see(const Force& force, const Sight& sight);

    std::int64_t coast_began_ns_ = 0; ///< candidate; 0: none
    int coast_samples_ = 0;
};

} // namespace turnstone::estimate
