#pragma once
/// Another flight in the same recording: kNextFlight_s after touchdown, handled since, and then upright at rest for
/// kStands_s in a row (after touchdown a vehicle lies; only on the rail is it stood up and left alone). After a reboot
/// on the ground, upright at rest for kStandsRebooted_s. A barometer alone cannot see it stood up: then kRestBlind_s at
/// one height, less than any flight takes to prepare. One that lay, and then stands upright for kStands_s, was stood up
/// whatever else was seen. Until then nothing counts as a liftoff, so carrying the vehicle back does not either; from
/// then on the rules of the rail hold. A climb that nothing but a flight makes is one, even unprepared.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class NextFlightWatch {
  public:
    static constexpr double kNextFlight_s = 60.0; ///< nobody is back on the pad sooner
    static constexpr double kStands_s = 20.0;
    static constexpr double kStandsRebooted_s = 10.0;
    static constexpr double kRestBlind_s = 300.0;

    /// After each force, down.
    [[nodiscard]] MaybeFound force(const Sight& sight);
    /// After each height, down: a climb.
    [[nodiscard]] MaybeFound flies(const Sight& sight);
    /// After each height, down: with a barometer alone.
    [[nodiscard]] MaybeFound height(const Sight& sight);
    /// The vehicle's computer rebooted. In flight that changes nothing; on the ground it is a sign of the next flight.
    void reboot(bool on_ground) noexcept { rebooted_ = on_ground; }

  private:
    bool handled_ = false;           ///< moved by somebody since touchdown
    bool lay_ = false;               ///< for long enough to be seen to
    std::int64_t lies_since_ns_ = 0; ///< 0: does not lie still
    bool rebooted_ = false;
    std::int64_t stands_since_ns_ = 0; ///< 0: does not stand
    std::int64_t still_since_ns_ = 0;  ///< by heights; 0: not looked at
    double still_height_m_ = 0;
};

} // namespace turnstone::estimate
