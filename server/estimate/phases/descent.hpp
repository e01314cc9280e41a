#pragma once
/// Coming down: which parachutes open, and when.
///
/// Inertial: a shock after apogee. Barometer: lastingly slower than free fall, or a break in the descent rate.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class DescentWatch {
  public:
    /// Falling: the first parachute. With only one on board it is the main.
    [[nodiscard]] MaybeFound first(const FlightEvidence& evidence, std::int64_t apogee_ns) const;
    /// Under the drogue since `began_ns`: the main.
    [[nodiscard]] MaybeFound main(const FlightEvidence& evidence, std::int64_t began_ns);
    /// Any phase begins.
    void begin_phase() noexcept { slowed_ = 0; }
    /// Apogee, or a parachute out: the rate of descent changes.
    void begin_descent() noexcept { *this = DescentWatch(); }

  private:
    double fastest_mps_ = 0; ///< mean speed of the fastest second under the drogue, negative
    int slowed_ = 0;         ///< heights in a row with a much slower descent than that
};

} // namespace turnstone::estimate
