#pragma once
/// On the rail: what counts as a liftoff.
///
/// Inertial: axial thrust of at least kThrust_mps2 for kThrustTime_s that gained kThrustSpeed_mps, from an upright
/// rest, without lateral rotation, and confirmed by a rising barometer where one works. Onset of the thrust. Barometer
/// alone: a climb faster than 10 m/s through 30 m in four quarters of a second or more, unless an inertial sensor sees
/// rest. The root of height against time is a straight line in uniform acceleration; its zero is the onset. By neither,
/// in a fade: upright before it, weightless after it. A liftoff after which the vehicle stands at rest at pad height
/// within kWithdraw_s is withdrawn.
///
/// A vehicle that has not been seen at rest, and climbs or comes down, was in flight when it was first heard: no
/// liftoff is claimed for it.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

/// The newest heights climb through `above_m` as nothing but a flight does.
[[nodiscard]] bool climbs_through(const FlightEvidence& evidence, double above_m);

class LiftoffWatch {
  public:
    static constexpr double kThrust_mps2 = 4.0; ///< above rest
    static constexpr double kThrustTime_s = 0.22;
    static constexpr double kThrustSpeed_mps = 5.0;
    static constexpr double kThrustRise_m = 4.0;          ///< by pressure, before the barometer has confirmed
    static constexpr double kThrustSpeedAlone_mps = 15.0; ///< without a barometer to ask
    static constexpr double kLateralRate_radps = 3.0;     ///< swung by hand, not launched
    static constexpr double kWithdraw_s = 6.0;

    /// `upright_s`: how long it has been seen to stand already.
    explicit LiftoffWatch(const PhaseSettings& settings, double upright_s = 0.0);

    /// After each force, on the rail.
    [[nodiscard]] MaybeFound force(const Sight& sight);
    /// After each height, on the rail.
    [[nodiscard]] MaybeFound height(const Sight& sight);
    /// After each height, on the rail: in flight already when first heard, or when heard again.
    [[nodiscard]] MaybeFound joined(const Sight& sight) const;
    /// After each force on the way up.
    [[nodiscard]] MaybeFound withdrawal(const Sight& sight);
    /// No thrust that may become a liftoff.
    [[nodiscard]] bool quiet() const noexcept { return !thrust_.active; }

  private:
    static constexpr double kSeenRest_s = 2.0;
    static constexpr double kDescends_mps = 2.5; ///< more slowly no parachute lets a vehicle down

    struct Thrust { ///< a run of axial force above rest that may become a liftoff
        bool active = false;
        std::int64_t t_before_ns = 0; ///< last sample before it
        std::int64_t t_first_ns = 0;
        std::int64_t t_last_ns = 0;
        std::int64_t t_above_ns = 0; ///< last sample above the threshold
        double gained_mps = 0;
        double travelled_m = 0;
        double rate_sum_radps = 0;
        double start_height_m = 0;
        int samples = 0;
    };
    void follow(const FlightEvidence& evidence);
    void follow_height(const HeightPoint& newest);
    [[nodiscard]] MaybeFound by_thrust(const FlightEvidence& evidence);
    [[nodiscard]] MaybeFound in_fade(const FlightEvidence& evidence);
    [[nodiscard]] TimeEstimate thrust_onset(const FlightEvidence& evidence) const;

    Thrust thrust_;
    double rest_axial_mps2_;
    double upright_s_; ///< how long upright rest has been seen; latched at its maximum
    double leaning_s_ = 0;
    std::int64_t weightless_since_ns_ = 0; ///< 0: feels its weight
    bool rest_seen_ = false;               ///< it has stood, by heights or by forces
    std::int64_t t_height_ns_ = 0;         ///< of the newest height; 0: none yet
    double height_m_ = 0;                  ///< above the pad, the newest
    bool rose_unheard_ = false;            ///< it was far higher after a silence than before it
};

} // namespace turnstone::estimate
