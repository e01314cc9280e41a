#pragma once
/// Another flight in the same recording: kNextFlight_s after touchdown, handled since, and then upright at rest for
/// kStands_s in a row (a vehicle lies after touchdown; nobody stands it up and leaves it alone except on the rail).
/// After a reboot on the ground, upright at rest for kStandsRebooted_s. With a barometer alone nobody sees who stands
/// it up: kRestBlind_s at one height, which no flight is prepared faster than. Until then nothing is taken for a
/// liftoff, so carrying it back is none; after it the rules of the rail hold.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class NextFlightWatch {
  public:
    static constexpr double kNextFlight_s = 60.0; ///< nobody is back on the pad sooner
    static constexpr double kStands_s = 20.0;
    static constexpr double kStandsRebooted_s = 10.0;
    static constexpr double kRestBlind_s = 300.0;

    /// After each force, down since `down_ns`.
    [[nodiscard]] MaybeFound force(const FlightEvidence& evidence, std::int64_t down_ns);
    /// After each height, down: with a barometer alone.
    [[nodiscard]] MaybeFound height(const FlightEvidence& evidence);
    /// The vehicle's computer rebooted. In flight that changes nothing; on the ground it is a sign of the next flight.
    void reboot(bool on_ground) noexcept { rebooted_ = on_ground; }

  private:
    bool handled_ = false; ///< moved by somebody since touchdown
    bool rebooted_ = false;
    std::int64_t stands_since_ns_ = 0; ///< 0: does not stand
    std::int64_t still_since_ns_ = 0;  ///< by heights; 0: not looked at
    double still_height_m_ = 0;
};

} // namespace turnstone::estimate
