#pragma once
/// Under thrust or coasting: when apogee is.
///
/// The filter's vertical speed stays below zero: apogee is its zero crossing, free fall carried back. Or, whatever the
/// filter says, a fall of 25 m below the highest height. Or, by forces alone when speed is not known well enough: a
/// vehicle that hangs on a parachute has passed apogee.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class ApogeeWatch {
  public:
    /// After each vertical speed.
    [[nodiscard]] MaybeFound speed(const Sight& sight);
    /// After each height.
    [[nodiscard]] MaybeFound height(const Sight& sight);
    /// After each force, coasting.
    [[nodiscard]] MaybeFound weight(const Sight& sight);

    /// A phase begins.
    void begin(EventId found) noexcept {
        falling_ = 0;
        if (found == EventId::burnout) highest_m_ = kNoHeight_m;
    }
    /// The height the flight stayed below, once it descends.
    [[nodiscard]] double ceiling_m(const FlightEvidence& evidence) const;

  private:
    static constexpr double kNoHeight_m = -1e9;

    double highest_m_ = 0;
    std::int64_t highest_ns_ = 0;
    int below_highest_ = 0; ///< heights in a row
    std::int64_t below_since_ns_ = 0;
    int falling_ = 0; ///< estimates in a row with negative speed
    std::int64_t falls_since_ns_ = 0;
};

} // namespace turnstone::estimate
