#pragma once
/// Coming down: which parachutes open, and when.
///
/// Inertial: a shock after apogee. Barometer: lastingly slower than free fall, or a break in the descent rate.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class DescentWatch {
  public:
    /// Falling: the first parachute of several.
    [[nodiscard]] MaybeFound drogue(const Sight& sight);
    /// Falling: the only parachute, which is the main.
    [[nodiscard]] MaybeFound only_main(const Sight& sight);
    /// Under the drogue: the main, after each height.
    [[nodiscard]] MaybeFound main(const Sight& sight);
    /// The same after each force, while the barometer is silent.
    [[nodiscard]] MaybeFound main_by_shock(const Sight& sight);

    /// A phase begins. After apogee and each parachute the rate of descent changes.
    void begin(EventId found) noexcept {
        slowed_ = 0;
        if (found == EventId::apogee || found == EventId::drogue_out || found == EventId::main_out)
            *this = DescentWatch();
    }

  private:
    double fastest_mps_ = 0; ///< mean speed of the fastest second under the drogue, negative
    int slowed_ = 0;         ///< heights in a row with a much slower descent than that
    std::int64_t slowed_since_ns_ = 0;
    std::int64_t looked_ns_ = 0;
};

} // namespace turnstone::estimate
