#pragma once
/// Silence in flight. Last heard within kNearGround_s of the ground at its speed, then silent kSilence_s longer: signal
/// lost, presumed down, dated to the expected impact. Last heard higher up: the same only once even a descent at
/// kSlowestDescent_mps would have ended, dated half-way between that and a free fall, with a 1-sigma to match. It is
/// never called a touchdown: anything received later takes it back, and a vehicle at rest then is down.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

/// Where the vehicle was when it was last heard.
struct LastSeen {
    double height_m, height_sigma_m;
    double speed_mps, speed_sigma_mps;
    bool near_ground;
};

class SilenceWatch {
  public:
    static constexpr double kSilence_s = 5.0; ///< longer than fades are
    static constexpr double kNearGround_s = 10.0;
    static constexpr double kSlowestDescent_mps = 3.0;

    /// With each tick, in flight.
    [[nodiscard]] MaybeFound silent(const Sight& sight);
    /// After each sample, presumed down.
    [[nodiscard]] MaybeFound heard(const Sight& sight);
    /// The flight goes no higher than this.
    void set_ceiling(double ceiling_m) noexcept { ceiling_m_ = ceiling_m; }
    /// As said with EventId::signal_lost.
    [[nodiscard]] const LastSeen& last_seen() const noexcept { return last_seen_; }

  private:
    double ceiling_m_ = 0; ///< once it descends
    LastSeen last_seen_{};
};

} // namespace turnstone::estimate
